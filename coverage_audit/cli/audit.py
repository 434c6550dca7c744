"""`coverage-audit audit`: all or some datasets, now; on the terminal, as JSON, as a page, as a notice."""

from __future__ import annotations

import sys
from functools import cache, partial
from pathlib import Path

import click

from coverage_audit.audits.audit import Audited, run_audit
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.progress import walking
from coverage_audit.cli.screen import screen
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, EX_NONCONFORMING, EX_NOTICE_FAILED
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import read_estate
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.feasibility import cannot_be_met
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.notices.delivery import Failed
from coverage_audit.notices.sending import Held, Outcome
from coverage_audit.reports.as_json import audit_json
from coverage_audit.reports.page import audited_page
from coverage_audit.reports.terminal import audit_text
from coverage_audit.reports.writing import write_page
from coverage_audit.wiring import assembled, tell

STATUS = {
    Conclusion.CONFORMING: EX_CONFORMING,
    Conclusion.NONCONFORMING: EX_NONCONFORMING,
    Conclusion.UNVERIFIED: EX_EVIDENCE_MISSING,
}
EPILOG = (
    "Exit status: 0 conforming, 1 nonconforming, 69 evidence is missing (unverified), 75 another audit is running, "
    "76 a notice could not be delivered (whatever the conclusion), 78 the estate file is wrong."
)


@click.command("audit", epilog=EPILOG)
@click.argument("datasets", nargs=-1, metavar="[DATASET]...")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
@click.option("--html", "page_file", type=click.Path(path_type=Path, dir_okay=False), help="Write the page here.")
@click.option("--notify", is_flag=True, help="Tell the estate's addresses what fails and what recovered.")
@estate_option
@state_option
def command(
    *,
    datasets: tuple[str, ...],
    as_json: bool,
    page_file: Path | None,
    notify: bool,
    estate_file: Path,
    state_folder: Path,
) -> int:
    """Audit all datasets of the estate, or those named, now."""
    estate = read_estate(estate_file)
    for finding in cannot_be_met(estate):
        click.echo(f"Before anything is walked: {visible(finding.message)}", err=True)
    with walking(sys.stderr) as progress, assembled(estate, state_folder, progress=progress) as parts:
        audited = run_audit(estate, datasets, parts)
        page = cache(partial(audited_page, estate, audited))
        outcomes = tell(estate, audited, parts.ledger, page) if notify else ()
    if page_file:
        write_page(page_file, page())
    click.echo(_printed(audited, as_json=as_json), nl=False)
    for said in dict.fromkeys(undelivered(outcome, estate) for outcome in outcomes):
        if said:
            click.echo(f"coverage-audit: {said}", err=True)
    failed = any(isinstance(outcome, Failed) for outcome in outcomes)
    return EX_NOTICE_FAILED if failed else STATUS[audited.judged.conclusion]


def undelivered(outcome: Outcome, estate: Estate) -> str:
    """Say why a notice has not gone out; empty where it has."""
    if isinstance(outcome, Failed):
        return f"the notice to '{outcome.target}' was not delivered: {outcome.reason}"
    if isinstance(outcome, Held):
        until = outcome.until
        when = "is being sent" if until is None else f"waits until {until.astimezone(estate.time_zone):%Y-%m-%d %H:%M}"
        return f"the notice to '{outcome.target}' {when}{'' if until is None else ' (quiet hours)'}"
    return ""


def _printed(audited: Audited, *, as_json: bool) -> str:
    if as_json:
        return audit_json(audited.judged, audited.recorded.events, audited.recorded.audit) + "\n"
    out = screen()
    return audit_text(
        audited.judged,
        width=out.width,
        colour=out.colour,
        since=audited.recorded.since,
        changes=[event.change for event in audited.recorded.events],
        number=audited.recorded.audit,
    )
