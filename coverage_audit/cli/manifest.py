"""`coverage-audit manifest`: record a shelf drive that is plugged in now, carry a record, hold a tree against one."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path

import click

from coverage_audit.audits.against import hold_against
from coverage_audit.audits.bringing import brought_in
from coverage_audit.audits.opening import taken_from
from coverage_audit.audits.recording import RecordingPlan, Taken, plan_recording, record, take
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.progress import walking
from coverage_audit.cli.refusing import refuse
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, EX_NONCONFORMING, UsageError
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import read_estate
from coverage_audit.evidence.visible import visible
from coverage_audit.ledger.portable import is_portable, read_portable, write_portable
from coverage_audit.reports.recorded import held_text, recorded_text
from coverage_audit.wiring import assembled

EPILOG = (
    "Exit status: 0 all of it was recorded (or agrees), 1 it differs from what it is held against, 64 usage, 69 it or "
    "a part of it could not be read, 74 the file brought in is no evidence, 75 another audit is running, 78 the estate "
    "file is wrong."
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
@click.option(
    "--from", "from_file", type=click.Path(path_type=Path), help="Record a carried file, or an open manifest."
)
@click.option("--made", metavar="TIME", help="With --from and an open manifest: when the tree was as it is listed.")
@click.option(
    "--against",
    type=click.Path(path_type=Path),
    help="Hold PATH against an open manifest (BagIt folder, checksum file, mtree); nothing is recorded.",
)
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
    made: str | None,
    against: Path | None,
    estate_file: Path,
    state_folder: Path,
) -> int:
    """Record a shelf drive that is plugged in now, here or on a device of the estate.

    With --for DEVICE:VOLUME all that is declared on that volume is recorded; PATH is then where it is mounted.
    """
    estate = read_estate(estate_file)
    if from_file is not None:
        refuse(path or host or digests or to_file or also or against, "--from goes with --for, --made, --accept alone")
        return _bring_in(estate, state_folder, (from_file, wanted, made), accept=accept)
    refuse(made, "--made goes together with --from: what is read now is of now")
    if against is not None:
        refuse(path is None or wanted or digests or to_file or also or accept, "write: manifest PATH --against FILE")
        return _against(estate, state_folder, (path or "", against, host))
    refuse(also and to_file is None, "--record goes together with --to: without it the drive is recorded anyway")
    refuse(accept and to_file and not also, "--accept: nothing is recorded here; say it where the file is brought in")
    if path is None or wanted is None:
        raise UsageError("name the folder and the address that it is: manifest PATH --for DEVICE:VOLUME/PATH")
    folder = path if host else str(Path(path).absolute())
    plan = plan_recording(estate, folder, wanted, host, "sha256" if digests else None)
    return _take(estate, state_folder, plan, (to_file, to_file is None or also), accept=accept)


def _take(estate: Estate, state: Path, plan: RecordingPlan, into: tuple[Path | None, bool], *, accept: bool) -> int:
    to_file, here = into
    with walking(sys.stderr) as progress, assembled(estate, state, progress=progress) as parts:
        taken = take(estate, plan, parts)
        if to_file is not None:
            write_portable(to_file, taken.trees)
        if here:
            record(taken, parts, accepted_by=getpass.getuser() if accept else None)
    written = f"written to {visible(str(to_file))}" if to_file is not None else ""
    return _said(estate, taken, " and ".join(filter(None, (written, "recorded" if here else ""))))


def _bring_in(estate: Estate, state: Path, what: tuple[Path, str | None, str | None], *, accept: bool) -> int:
    file, wanted, made = what
    with assembled(estate, state) as parts:
        if not file.is_dir() and ((wanted is None and made is None) or is_portable(file)):
            if made is not None:
                raise UsageError("--made: the file says itself when it was made")
            taken = brought_in(estate, read_portable(file, parts.work.folder), wanted, parts)
        elif wanted is None or made is None:
            raise UsageError("an open manifest says neither what nor when it is: add --for ADDRESS and --made TIME")
        else:
            taken = taken_from(estate, file, wanted, made, parts)
        record(taken, parts, accepted_by=getpass.getuser() if accept else None)
    return _said(estate, taken, "recorded", drive=False)


def _against(estate: Estate, state: Path, what: tuple[str, Path, str | None]) -> int:
    path, file, host = what
    folder = path if host else str(Path(path).absolute())
    if not host and file.is_dir() and Path(folder).resolve() == file.resolve():
        folder = str(Path(folder) / "data")  # of a bag, its payload is what it lists
    with walking(sys.stderr) as progress, assembled(estate, state, progress=progress) as parts:
        held = hold_against(estate, folder, file, host, parts)
    click.echo(held_text(held), nl=False)
    if not held.agrees:
        return EX_NONCONFORMING
    return EX_EVIDENCE_MISSING if held.unread else EX_CONFORMING


def _said(estate: Estate, taken: Taken, done: str, *, drive: bool = True) -> int:
    click.echo(recorded_text(taken.trees, taken.identity, taken.undigested, estate.time_zone), nl=False)
    in_part = "" if taken.is_whole else " in part"
    click.echo(f"{done}{in_part}, you may unplug it" if drive else f"{done}{in_part}")
    return EX_CONFORMING if taken.is_whole else EX_EVIDENCE_MISSING
