"""What two listings offer to compare, and in words what they do not."""

from __future__ import annotations

from collections.abc import Iterator

from coverage_audit.evidence.difference import Mode
from coverage_audit.evidence.manifest import Manifest, Origin


def plain_mode(original: Manifest, copy: Manifest) -> Mode:
    """Compare what both offer, times as they are, at the coarser granularity of the two trees and ways of listing."""
    sides = [side for side in (original, copy) if "mtime" not in side.origin.lacks]
    return Mode(
        granularity_ns=max((max(side.census.granularity_ns, side.origin.precision_ns) for side in sides), default=1),
        times=_offered("mtime", original, copy),
        sizes=_offered("size", original, copy),
        targets=_offered("targets", original, copy),
        kinds=_offered("kinds", original, copy),
        digest=original.origin.digest if original.origin.digest == copy.origin.digest else None,
    )


def basis(mode: Mode) -> tuple[str, ...]:
    """Return what the comparison rests on, where it is not simply sizes and times: to be held against the next one's.

    What was held on one basis may differ on another without anything having changed.
    """
    lacking = [name for name in ("times", "sizes", "targets", "kinds") if not getattr(mode, name)]
    return (*(f"no {name}" for name in lacking), *((f"digest {mode.digest}",) if mode.digest else ()))


def not_compared(original: Origin, copy: Origin) -> tuple[str, ...]:
    """Say what could not be compared, and why."""
    return tuple(_words(original, copy))


def _words(original: Origin, copy: Origin) -> Iterator[str]:
    if who := _who("mtime", original, copy):
        yield f"times, which {who} does not hold"
    if who := _who("size", original, copy):
        yield f"sizes, which {who} does not hold"
    if who := _who("targets", original, copy):
        yield f"where links lead, which {who} does not hold: they count by being there"
    if who := _who("kinds", original, copy):
        yield f"folders, links and special files, which {who} does not list"
    if original.digest and copy.digest and original.digest != copy.digest:
        yield f"digests: they are {original.digest} of the original and {copy.digest} of the copy"


def _who(what: str, original: Origin, copy: Origin) -> str:
    if what in original.lacks and what in copy.lacks:
        return "either listing"
    if what in original.lacks:
        return "the original's listing"
    return "the copy's listing" if what in copy.lacks else ""


def _offered(what: str, original: Manifest, copy: Manifest) -> bool:
    return what not in original.origin.lacks and what not in copy.origin.lacks
