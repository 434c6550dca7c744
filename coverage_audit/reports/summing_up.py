"""What a weekly page rests on, in a few lines for the terminal: above all whether there is an audit to tell of."""

from __future__ import annotations

from collections.abc import Iterator

from coverage_audit.audits.summing_up import SummedUp
from coverage_audit.estate.model import Estate
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import age, when
from coverage_audit.reports.lead import Lead, lead
from coverage_audit.reports.present import Present, as_declared_now
from coverage_audit.reports.situation import situation


def summary_text(summed: SummedUp, estate: Estate) -> str:
    """Say what the page tells, and what it rests on; ends with a newline."""
    return "".join(f"{visible(line)}\n" for line in _lines(summed, estate))


def is_fresh(summed: SummedUp, estate: Estate) -> bool:
    """Whether there is an audit to tell of, and it is of the last night."""
    found = _lead(summed, estate)
    return found is not None and not found[1].old


def _lead(summed: SummedUp, estate: Estate) -> tuple[Present, Lead] | None:
    if summed.judged is None:
        return None
    present = as_declared_now(summed.judged, estate)
    return present, lead(present, summed.now, summed.back.nights, summed.unjudged)


def _lines(summed: SummedUp, estate: Estate) -> Iterator[str]:
    found, last = _lead(summed, estate), summed.last
    if last is None:
        yield f"{estate.name}: no audit of all datasets is on record: nothing is proven."
        yield "Run `coverage-audit audit`; the page says so as well."
        return
    audited = f"the audit of {when(last.finished, estate.time_zone)} ({age(last.finished, summed.now)})"
    if found is None:
        yield f"{estate.name}: {audited} cannot be told of: nothing is proven."
        yield f"That is because {last.why}; the next whole audit mends it. The page says so as well."
        return
    present, leading = found
    said = situation(present.judged, summed.since)
    yield from leading.caveats
    yield f"{'What it found then: ' if leading.old else ''}{said.sentence}"
    yield f"{estate.name}: this rests on {audited}. {said.basis}"
