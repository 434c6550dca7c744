"""`coverage-audit verify`: the content of copies, read now and held against the original's."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from coverage_audit.audits.audit import run_audit
from coverage_audit.audits.verifying import Wish
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.progress import walking
from coverage_audit.cli.screen import screen
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, EX_NONCONFORMING
from coverage_audit.estate.reader import read_estate
from coverage_audit.evidence.verified import Verified
from coverage_audit.judgement.verdict import Answer, JudgedEstate
from coverage_audit.reports.verified import content_findings, verified_json, verified_text
from coverage_audit.wiring import assembled

EPILOG = (
    "Exit status: 0 the content is shown to be right, 1 some of it is not, 69 it is not shown (or not all of it was "
    "reached, or could be read), 75 another audit is running, 78 the estate file is wrong."
)


@click.command("verify", epilog=EPILOG)
@click.argument("datasets", nargs=-1, metavar="[DATASET]...")
@click.option("--all", "whole", is_flag=True, help="Read everything, over as many nights as it takes.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
@estate_option
@state_option
def command(*, datasets: tuple[str, ...], whole: bool, as_json: bool, estate_file: Path, state_folder: Path) -> int:
    """Read a random sample of each copy's content now, of all datasets or those named, against the original's.

    It audits them on the way, and reads for as long as a night may. What is left then is read in the audits to come.
    """
    estate = read_estate(estate_file)
    with walking(sys.stderr) as progress, assembled(estate, state_folder, progress=progress) as parts:
        judged = run_audit(estate, datasets, parts, Wish(now=True, all=whole)).judged
    if as_json:
        click.echo(verified_json(judged))
    else:
        out = screen()
        click.echo(verified_text(judged, width=out.width, colour=out.colour), nl=False)
    return status_of(judged)


def status_of(judged: JudgedEstate) -> int:
    """Say how it ended: what is wrong first, then what is not shown; a copy that nothing was asked of counts, too."""
    answers = {finding.answer for finding in content_findings(judged)}
    copies = [copy for dataset in judged.datasets for copy in dataset.copies]
    known = [copy.evidence.verified for copy in copies]
    spoilt = any(dataset.original.evidence.spoilt_files for dataset in judged.datasets)
    if spoilt or Answer.NONCONFORMITY in answers or any(one is not None and one.spoilt_files for one in known):
        return EX_NONCONFORMING
    unread = any(one is None or _is_unread(one) for one in known)
    if Answer.UNVERIFIED in answers or unread or not copies:
        return EX_EVIDENCE_MISSING
    return EX_CONFORMING


def _is_unread(known: Verified) -> bool:
    """Whether anything of what was to be read of a copy was not."""
    last, whole = known.last, known.whole
    if last is None or not last.sampled or last.wanting or known.running is not None or known.why_not is not None:
        return True
    return whole is not None and (whole.ended is None or bool(whole.not_shown))
