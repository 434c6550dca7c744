"""What the evidence at hand proves against a copy, the worst first: damaged, incomplete, stale."""

from __future__ import annotations

from coverage_audit.evidence.difference import CopyComparison, RowVerdict, Tally
from coverage_audit.evidence.facts import Gap
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.clock_trust import clock_trouble
from coverage_audit.judgement.copy_view import CopyView, Reasoned
from coverage_audit.judgement.verdict import Ground, Standing
from coverage_audit.judgement.wording import NAMES_SHOWN, age, amount, duration, files, so_many, such_as, when
from coverage_audit.reckoning import keeping_up


def damaged(view: CopyView) -> Reasoned | None:
    """Find content that differs, or that the copy changed and the original did not."""
    found, read = view.comparison, view.evidence.verified
    parts = []
    if read is not None and read.spoilt_files:
        named = ", ".join(f"“{visible(one.path)}”" for one in read.spoilt[:NAMES_SHOWN])
        parts.append(f"the content of {files(read.spoilt_files)} was read and is not right: {named}")
    if found is not None and found.own.files:
        rows = such_as(found, RowVerdict.ITS_OWN)
        parts.append(f"{amount(found.own)} changed in the copy and not in the original{rows}")
    if found is not None and found.content.files:
        parts.append(f"the content of {amount(found.content)} differs from the original's")
    if not parts:
        return None
    return Reasoned(standing=Standing.DAMAGED, ground=Ground.CONTENT, reason="; ".join(parts))


def incomplete(view: CopyView) -> Reasoned | None:
    """Find a hole, most of the dataset lacking, nothing taken up, or no recovery point at all."""
    reason = _no_point(view) or _lacking(view)
    return Reasoned(standing=Standing.INCOMPLETE, ground=Ground.HOLE, reason=reason) if reason else None


def stale(view: CopyView) -> Reasoned | None:
    """Find a clean cut in time that is older than `max_age`, or a newest recovery point that is.

    Age is measured by clocks; while one of them cannot be trusted, no age is proven.
    """
    if clock_trouble(view):
        return None
    reason = _old_point(view) or _old_cut(view)
    return Reasoned(standing=Standing.STALE, ground=Ground.AGE, reason=reason) if reason else None


def lacks_most(found: CopyComparison) -> bool:
    """Whether more than half of the original's files or bytes are shown to be missing.

    What would lie below a place that could not be read is not shown to be; what is there under an old name is not, and
    what is held back is not either.
    """
    return keeping_up.lacks_most(found.original, _shown_missing(found), found.under_old_name)


def _shown_missing(found: CopyComparison) -> Tally:
    return Tally(
        files=max(0, found.missing.files - found.unknown.files - found.held_back_missing.files),
        bytes=max(0, found.missing.bytes - found.unknown.bytes - found.held_back_missing.bytes),
    )


def _no_point(view: CopyView) -> str | None:
    points = view.evidence.points
    if points is None or isinstance(points, Gap) or points.points or points.refused:
        return None
    return "it holds no recovery point at all"


def _lacking(view: CopyView) -> str | None:
    found = view.comparison
    if found is None:
        return None
    if lacks_most(found):
        return f"it lacks most of the dataset: {amount(_shown_missing(found))} of {amount(found.original)} are missing"
    if found.counting_rows and found.holds_newer:
        rows = such_as(found, RowVerdict.COUNTS)
        return f"it lacks {_counting(found)} although it holds something newer{rows}"
    if not found.counting_rows or _cut_is_old(view, found) or clock_trouble(view):
        return None
    if keeping_up.takes_nothing_up(found.take_up, now=view.now, max_age=view.max_age):
        gone = files(found.take_up.gone_unheld)
        return f"it takes nothing up: {gone} that it was given time for left the original and were never held"
    return f"it lacks {_counting(found)} that no grace covers"


def _old_cut(view: CopyView) -> str | None:
    found = view.comparison
    if found is None or not found.counting_rows or found.holds_newer or not _cut_is_old(view, found):
        return None
    since = f"since {when(found.earliest_start, view.zone)}" if found.earliest_start else "since it was made"
    back = f"; it went back: an earlier audit saw {amount(found.went_back)} of it held" if found.went_back.files else ""
    lacking = f"{_counting(found)} that came later are not held within {duration(view.max_age)}"
    return f"it stands still {since}: {lacking}{back}"


def _cut_is_old(view: CopyView, found: CopyComparison) -> bool:
    return found.earliest_start is None or view.now - found.earliest_start > view.max_age


def _old_point(view: CopyView) -> str | None:
    """Say that the point judged, else the newest listed, is older than `max_age` however its name is read."""
    newest = view.newest_point
    judged = view.evidence.point if view.comparison else newest
    if judged is None or view.now - judged.latest <= view.max_age:
        return None
    which = "newest complete" if newest is not None and newest.name != judged.name else "newest"
    dated = f"{when(judged.latest, view.zone)}, {age(judged.latest, view.now)}"
    return f"its {which} recovery point “{visible(judged.name)}” is of {dated}; {duration(view.max_age)} is asked"


def _counting(found: CopyComparison) -> str:
    if found.counting.files:
        return amount(found.counting)
    return so_many(found.counting_rows, "folder")
