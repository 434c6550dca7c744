"""`coverage-audit retire`: before hardware leaves, whether anything on it exists nowhere else."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from coverage_audit.audits.retiring import run_retirement
from coverage_audit.audits.retiring_wish import NotKeptWord, RetireWish, drives_of
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.progress import walking
from coverage_audit.cli.refusing import refuse
from coverage_audit.cli.replacing import count_option, replace_option, replacing_of
from coverage_audit.cli.screen import screen
from coverage_audit.comparison.leaving_out import LeavingOut
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, EX_NONCONFORMING, ComparisonError
from coverage_audit.estate.reader import read_estate
from coverage_audit.reports.dossier import write_dossier
from coverage_audit.reports.retire_json import retire_json
from coverage_audit.reports.retire_text import retire_text
from coverage_audit.scenarios.retirement import Verdict
from coverage_audit.wiring import assembled

STATUS = {
    Verdict.CLEAR: EX_CONFORMING,
    Verdict.NOT_CLEAR: EX_NONCONFORMING,
    Verdict.CANNOT_TELL: EX_EVIDENCE_MISSING,
}
EPILOG = (
    "Exit status: 0 clear, 1 not clear, 69 cannot tell, 64 usage, 73 the dossier could not be written, "
    "75 an audit is running, 78 the estate file is wrong."
)


@click.command("retire", epilog=EPILOG)
@click.argument("targets", nargs=-1, required=True, metavar="DEVICE[:VOLUME[#DRIVE]]...")
@click.option(
    "--hash",
    "to_hash",
    type=click.Choice(["doubtful", "all"]),
    default="doubtful",
    show_default=True,
    help="Whose content is read: what is found by size alone, or also what place, size and time show to agree.",
)
@click.option("--not-kept", multiple=True, metavar="PATTERN", help="What need not be kept (gitignore syntax).")
@click.option(
    "--filesystem-not-kept", multiple=True, metavar="PATH", help="A filesystem of the device that need not be kept."
)
@click.option("--who", default="", help="Who says what need not be kept.")
@click.option("--why", default="", help="Why it need not be kept.")
@click.option("--original", "originals", multiple=True, metavar="DATASET=ADDRESS", help="Where it is worked on then.")
@replace_option
@count_option
@click.option(
    "--dossier", type=click.Path(path_type=Path, file_okay=False), metavar="DIR", help="Write page, JSON and list here."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
@estate_option
@state_option
def command(  # noqa: PLR0913 - the options of one command
    *,
    targets: tuple[str, ...],
    to_hash: str,
    not_kept: tuple[str, ...],
    filesystem_not_kept: tuple[str, ...],
    who: str,
    why: str,
    originals: tuple[str, ...],
    replace: str | None,
    count: int | None,
    dossier: Path | None,
    as_json: bool,
    estate_file: Path,
    state_folder: Path,
) -> int:
    """Say whether these devices or volumes may leave, all of them together, by an audit made for that alone.

    Every file on them must be held by what stays, its content seen on both sides, and every dataset must conform
    without them. Nothing is erased, and nothing is written there.
    """
    needs_word = bool(not_kept or filesystem_not_kept)
    refuse(needs_word and not (who.strip() and why.strip()), "what need not be kept is said with --who and --why")
    refuse(not needs_word and (who or why), "--who and --why belong to --not-kept or --filesystem-not-kept")
    for pattern in not_kept:
        refuse(
            not _is_pattern(pattern), f"--not-kept: '{pattern}' is no pattern that names anything (gitignore syntax)"
        )
    estate = read_estate(estate_file)
    drive = next(iter(drives_of(estate, targets)), None)
    wish = RetireWish(
        targets=targets,
        not_kept=tuple(NotKeptWord(pattern=name, who=who, why=why) for name in not_kept),
        filesystems=tuple(NotKeptWord(pattern=name, who=who, why=why) for name in filesystem_not_kept),
        originals=originals,
        hash_all=to_hash == "all",
        replacing=replacing_of(
            replace, count, drive.volume if drive else None, "coverage-audit retire DEVICE:VOLUME#1"
        ),
    )
    with walking(sys.stderr) as progress, assembled(estate, state_folder, progress=progress) as parts:
        found = run_retirement(estate, wish, parts)
        parts.ledger.retirements.keep(found.finished, retire_json(found))
    if dossier is not None:
        write_dossier(dossier, found, estate)
    if as_json:
        click.echo(retire_json(found))
    else:
        click.echo(retire_text(found, width=screen().width), nl=False)
    return STATUS[found.verdict]


def _is_pattern(text: str) -> bool:
    """Whether it can be understood, and names something; one that begins with '!' takes back what others name."""
    try:
        return bool(LeavingOut([text])) or text.startswith("!")
    except ComparisonError:
        return False
