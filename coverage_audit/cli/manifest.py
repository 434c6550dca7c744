"""`coverage-audit manifest`: record a shelf drive that is plugged in now, or carry what was recorded in a file."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path

import click

from coverage_audit.audits.bringing import brought_in
from coverage_audit.audits.recording import Taken, plan_recording, record, take
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.progress import walking
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, UsageError
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import read_estate
from coverage_audit.evidence.visible import visible
from coverage_audit.ledger.portable import read_portable, write_portable
from coverage_audit.reports.recorded import recorded_text
from coverage_audit.wiring import assembled

EPILOG = (
    "Exit status: 0 all of it was recorded, 64 usage, 69 it or a part of it could not be read, 74 the file brought in "
    "is no evidence, 75 another audit is running, 78 the estate file is wrong."
)
_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command("manifest", epilog=EPILOG)
@click.argument("path", required=False, metavar="[PATH]")
@click.option("--for", "wanted", metavar="DEVICE:VOLUME/PATH", help="The address of the shelf drive that PATH is.")
@click.option("--on", "host", metavar="DEVICE", help="PATH lies on this device of the estate, not here.")
@click.option("--digests", is_flag=True, help="Read every file and record the SHA-256 of its content.")
@click.option("--accept", is_flag=True, help="This is another drive than the one pinned, on purpose.")
@click.option("--to", "to_file", type=_FILE, help="Write it to a file to be carried, instead of recording it here.")
@click.option("--record", "also", is_flag=True, help="With --to: record it here as well.")
@click.option("--from", "from_file", type=_FILE, help="Record what was written to a file on another machine.")
@estate_option
@state_option
def command(  # noqa: PLR0913 - one an option
    *,
    path: str | None,
    wanted: str | None,
    host: str | None,
    digests: bool,
    accept: bool,
    to_file: Path | None,
    also: bool,
    from_file: Path | None,
    estate_file: Path,
    state_folder: Path,
) -> int:
    """Record a shelf drive that is plugged in now, here or on a device of the estate.

    With --for DEVICE:VOLUME all that is declared on that volume is recorded; PATH is then where it is mounted.
    """
    if from_file is not None:
        if path is not None or host or digests or to_file or also:
            raise UsageError("--from brings in a file: it goes together with --for and --accept alone")
        return _bring_in(read_estate(estate_file), state_folder, from_file, wanted, accept=accept)
    if path is None or wanted is None:
        raise UsageError("name the folder and the address that it is: manifest PATH --for DEVICE:VOLUME/PATH")
    if also and to_file is None:
        raise UsageError("--record goes together with --to: without it the drive is recorded anyway")
    if accept and to_file is not None and not also:
        raise UsageError("--accept means nothing where nothing is recorded here: say it where the file is brought in")
    estate = read_estate(estate_file)
    plan = plan_recording(
        estate, path if host else str(Path(path).absolute()), wanted, host, "sha256" if digests else None
    )
    with walking(sys.stderr) as progress, assembled(estate, state_folder, progress=progress) as parts:
        taken = take(estate, plan, parts)
        if to_file is not None:
            write_portable(to_file, taken.trees)
        if to_file is None or also:
            record(taken, parts, accepted_by=_who(accept))
    written = f"written to {visible(str(to_file))}" if to_file is not None else ""
    return _said(estate, taken, " and ".join(filter(None, (written, "recorded" if to_file is None or also else ""))))


def _bring_in(estate: Estate, state: Path, file: Path, wanted: str | None, *, accept: bool) -> int:
    with assembled(estate, state) as parts:
        taken = brought_in(estate, read_portable(file, parts.work.folder), wanted, parts)
        record(taken, parts, accepted_by=_who(accept))
    return _said(estate, taken, "recorded", drive=False)


def _said(estate: Estate, taken: Taken, done: str, *, drive: bool = True) -> int:
    click.echo(recorded_text(taken.trees, taken.identity, taken.undigested, estate.time_zone), nl=False)
    in_part = "" if taken.is_whole else " in part"
    click.echo(f"{done}{in_part}, you may unplug it" if drive else f"{done}{in_part}")
    return EX_CONFORMING if taken.is_whole else EX_EVIDENCE_MISSING


def _who(accept: bool) -> str | None:  # noqa: FBT001 - one plain question
    return getpass.getuser() if accept else None
