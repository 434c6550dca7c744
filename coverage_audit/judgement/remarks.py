"""What stands beside a copy's standing without deciding it: sentences for people."""

from __future__ import annotations

from collections.abc import Iterator

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.evidence.difference import CopyComparison
from coverage_audit.evidence.facts import Gap, IdentityCheck, PinState
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.about_points import about_points
from coverage_audit.judgement.copy_view import CopyView
from coverage_audit.judgement.sights import about_sights
from coverage_audit.judgement.wording import age, amount, duration, names, when


def remarks(view: CopyView) -> tuple[str, ...]:
    """Return all remarks on one copy, the weightier first."""
    said = [*_about_identity(view), *_about_observation(view), *about_points(view)]
    if view.comparison is not None:
        said += [
            *_about_times(view, view.comparison),
            *_about_rows(view, view.comparison),
            *about_sights(view.comparison),
        ]
    return tuple(said)


def _about_identity(view: CopyView) -> Iterator[str]:
    identity = view.evidence.place.identity
    if not isinstance(identity, IdentityCheck):
        return
    if identity.state is PinState.PINNED_NOW:
        yield "its volume was seen for the first time, and what it shows is pinned from now on"
    if identity.state is PinState.BY_CONTENT:
        yield "its volume shows nothing by which it is known: that its content goes on is its identity"
    yield from identity.newly_shown


def _about_observation(view: CopyView) -> Iterator[str]:
    seen = view.seen_at
    if seen is not None and seen < view.started:
        yield f"it was seen {when(seen, view.zone)}, {age(seen, view.now)}, and not in this audit"
        if isinstance(view.evidence.place.device.access, ShelfAccess) and view.now - seen <= view.max_age:
            yield f"plug it in by {when(seen + view.max_age, view.zone)}: until then what was recorded of it counts"
    if view.comparison is not None and isinstance(view.original.tree, Gap):
        yield f"as of {when(view.comparison.original_at, view.zone)}: the original was not seen in this audit"


def _about_times(view: CopyView, found: CopyComparison) -> Iterator[str]:
    mode = found.mode
    if mode.times_lost:
        yield (
            "nearly all its files bear later times all at once, and it kept the original's before: it was rewritten. "
            "If only the way of copying has changed: `coverage-audit preflight --accept "
            f"{view.evidence.copy.address.volume}`"
        )
    if mode.by_size:
        yield "by size: the copy keeps no times, so a file counts as held when its size agrees and it was written later"
    if mode.by_size and mode.offset_ns is None:
        yield "by size: its clock was not shown or is far off, so nothing is taken as held"
    if mode.shift:
        side = "later" if mode.shift.days < 0 else "earlier"  # the shift was added, to undo the error
        yield f"its times lie {duration(abs(mode.shift))} {side} throughout: a zone error, compared with that shift"


def _about_rows(view: CopyView, found: CopyComparison) -> Iterator[str]:
    if found.pending.files:
        yield f"a copy that keeps up has {duration(view.max_age)} to take up what is pending"
    if found.held_back.files:
        yield (
            f"held back: {amount(found.held_back)} changed at once in the original, and the state before is held here; "
            "this does not count against it while that stands"
        )
    if found.under_old_name.files:
        yield f"held under an old name: {amount(found.under_old_name)}"
    if found.sticking_out:
        yield f"its recovery point is set by few files: {names(found.sticking_out)}"
    if found.blind_copy:
        yield "part of the copy could not be read"
    if found.left_out_by:  # also where a pattern left out nothing: it may be misspelt
        yield f"left out on purpose: {amount(found.left_out)}{_by_pattern(found)}"


def _by_pattern(found: CopyComparison) -> str:
    said = ", ".join(
        f"{visible(pattern)} {amount(tally) if tally.files else 'nothing'}" for pattern, tally in found.left_out_by
    )
    return f" ({said})" if said else ""
