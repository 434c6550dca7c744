"""`coverage-audit survey`: what lies on the volumes, whose it is, and what nobody declared."""

from __future__ import annotations

import socket
import sys
from pathlib import Path

import click

from coverage_audit.audits.surveying import run_survey
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.progress import walking
from coverage_audit.cli.screen import screen
from coverage_audit.collectors.mounted_here import mounted_here
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, UsageError
from coverage_audit.estate.reader import read_estate
from coverage_audit.reports.draft import draft, new_estate
from coverage_audit.reports.survey import survey_text
from coverage_audit.reports.survey_json import survey_json
from coverage_audit.wiring import assembled

EPILOG = (
    "Exit status: 0 everything that was asked for was surveyed, 69 some could not be, 75 an audit is running, "
    "78 the estate file is wrong."
)


@click.command("survey", epilog=EPILOG)
@click.argument("device", required=False)
@click.option("--draft", "as_draft", is_flag=True, help="Print the estate file with what was found put in.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
@estate_option
@state_option
def command(*, device: str | None, as_draft: bool, as_json: bool, estate_file: Path, state_folder: Path) -> int:
    """Show how much lies where on every volume, or on those of DEVICE, and what belongs to no dataset.

    Volumes are walked whole; nothing is written there, and --draft only prints. Without an estate file, --draft
    prints a first one, of this machine.
    """
    if as_draft and as_json:
        raise UsageError("--draft and --json print two different things: give one of them")
    if as_draft and not estate_file.exists():
        click.echo(new_estate(socket.gethostname(), mounted_here()), nl=False)
        return EX_CONFORMING
    estate = read_estate(estate_file)
    with walking(sys.stderr) as progress, assembled(estate, state_folder, progress=progress) as parts:
        surveyed = run_survey(estate, device, parts)
    if as_draft:
        click.echo(draft(estate, surveyed), nl=False)
    elif as_json:
        click.echo(survey_json(surveyed))
    else:
        out = screen()
        click.echo(survey_text(surveyed, zone=estate.time_zone, width=out.width, colour=out.colour), nl=False)
    missing = surveyed.gaps or surveyed.unseen or any(survey.blind for survey in surveyed.surveys)
    return EX_EVIDENCE_MISSING if missing else EX_CONFORMING
