"""`coverage-audit tour`: a made-up field station in a scratch folder, audited for real, twice."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

import click

from coverage_audit.audits.audit import Audited, run_audit
from coverage_audit.audits.field_station import build_station, let_faults_happen
from coverage_audit.cli.progress import walking
from coverage_audit.cli.screen import screen
from coverage_audit.errors import UsageError
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import read_estate
from coverage_audit.estate.shipped import sample_folder
from coverage_audit.reports.page import audit_page
from coverage_audit.reports.terminal import audit_text
from coverage_audit.reports.writing import write_page
from coverage_audit.wiring import assembled, wall_clock

_NEXT = {
    "Change something, and audit it again": "audit",
    "What each failure would take, and how long it would take to have it back": "loss",
    "Whether the box heron can leave": "retire heron --hash all",
}
"""What to try after the tour, and the words for it."""


@click.command("tour")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), required=False)
def command(*, folder: Path | None) -> int:
    """Build a made-up field station in FOLDER (or a new scratch folder) and audit it for real.

    The station stands in one folder, so its estate says `rehearsal: true`: that its places are apart is taken as
    declared. It is audited as it stood last night, then several things go wrong, and it is audited again.
    """
    place = _scratch(folder)
    station = place / "station"
    click.echo(f"Building the Saltreach Field Station in {station} ...")
    build_station(station, wall_clock())
    estate_file = place / "estate.yaml"
    sample = (sample_folder() / "tour.yaml").read_text(encoding="utf-8")
    estate_file.write_text(sample.replace("/tour/", f"{station}/"), encoding="utf-8")
    estate = read_estate(estate_file)
    click.echo("Auditing it as it stood last night, to know what was there ...")
    _audit(estate, place / "state")
    click.echo("Overnight, things go wrong: a folder vanishes, a copy is written to, another is gone ...")
    let_faults_happen(station, wall_clock())
    audited = _audit(estate, place / "state")
    page = place / "page.html"
    judged, recorded = audited.judged, audited.recorded
    write_page(page, audit_page(judged, estate, since=recorded.since, now=judged.finished, number=recorded.audit))
    click.echo()
    out = screen()
    click.echo(audit_text(judged, width=out.width, colour=out.colour, since=recorded.since, number=recorded.audit))
    click.echo(f"The page:   {page}")
    click.echo(f"The estate: {estate_file}")
    for why, words in _NEXT.items():
        click.echo(f"{why}:\n  {_command_line()} {words} --estate {estate_file} --state {place / 'state'}")
    return 0


def _command_line() -> str:
    return "coverage-audit" if shutil.which("coverage-audit") else f"{sys.executable} -m coverage_audit"


def _scratch(folder: Path | None) -> Path:
    if folder is None:
        return Path(tempfile.mkdtemp(prefix="coverage-audit-tour-"))
    if folder.exists() and any(folder.iterdir()):
        raise UsageError(f"{folder} is not empty; name a new folder, or none to have one made")
    folder.mkdir(parents=True, exist_ok=True)
    return folder.resolve()


def _audit(estate: Estate, state: Path) -> Audited:
    with walking(sys.stderr) as progress, assembled(estate, state, progress=progress) as parts:
        return run_audit(estate, (), parts)
