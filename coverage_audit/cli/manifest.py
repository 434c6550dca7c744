"""`coverage-audit manifest`: record a shelf drive that is plugged in now; carry manifests; hold a tree against one."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path

import click

from coverage_audit.audits.recording import plan_recording, record, take
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.progress import walking
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, UsageError
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import read_estate
from coverage_audit.reports.recorded import recorded_text
from coverage_audit.wiring import assembled

EPILOG = (
    "Exit status: 0 all of it was recorded, 64 usage, 69 it or a part of it could not be read, "
    "75 another audit is running, 78 the estate file is wrong."
)


@click.command("manifest", epilog=EPILOG)
@click.argument("path", required=False, metavar="[PATH]")
@click.option("--for", "wanted", metavar="DEVICE:VOLUME/PATH", help="The address of the shelf drive that PATH is.")
@click.option("--on", "host", metavar="DEVICE", help="PATH lies on this device of the estate, not here.")
@click.option("--digests", is_flag=True, help="Read every file and record the SHA-256 of its content.")
@click.option("--accept", is_flag=True, help="This is another drive than the one pinned, on purpose.")
@estate_option
@state_option
def command(  # noqa: PLR0913 - one an option
    *,
    path: str | None,
    wanted: str | None,
    host: str | None,
    digests: bool,
    accept: bool,
    estate_file: Path,
    state_folder: Path,
) -> int:
    """Record a shelf drive that is plugged in now, here or on a device of the estate.

    With --for DEVICE:VOLUME all that is declared on that volume is recorded; PATH is then where it is mounted.
    """
    if path is None or wanted is None:
        raise UsageError("name the folder and the address that it is: manifest PATH --for DEVICE:VOLUME/PATH")
    folder = path if host else str(Path(path).absolute())
    return _record(read_estate(estate_file), state_folder, (folder, wanted, host), digests=digests, accept=accept)


def _record(estate: Estate, state: Path, what: tuple[str, str, str | None], *, digests: bool, accept: bool) -> int:
    plan = plan_recording(estate, *what, "sha256" if digests else None)
    with walking(sys.stderr) as progress, assembled(estate, state, progress=progress) as parts:
        taken = take(estate, plan, parts)
        record(taken, parts, accepted_by=getpass.getuser() if accept else None)
    click.echo(recorded_text(taken.trees, taken.identity, taken.undigested, estate.time_zone), nl=False)
    click.echo("recorded, you may unplug it" if taken.is_whole else "recorded in part; you may unplug it")
    return EX_CONFORMING if taken.is_whole else EX_EVIDENCE_MISSING
