"""What no copy holds, as a page prints it: by files and by bytes, with the largest and the oldest by name."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.estate.units import format_size
from coverage_audit.evidence.difference import Exposure, Sample, Tally
from coverage_audit.evidence.instants import from_ns
from coverage_audit.judgement.wording import amount, day

LARGEST_SHOWN: Final = 20


@dataclass(frozen=True, kw_only=True)
class NamedFile:
    """One file by its path, with its size and the day it was last written to."""

    path: bytes
    said: str


@dataclass(frozen=True, kw_only=True)
class ExposedView:
    """How much no copy holds, and of what, in words."""

    said: str
    largest: tuple[NamedFile, ...] = ()
    oldest: tuple[NamedFile, ...] = ()


def exposed_view(exposure: Exposure | None, whole: Tally | None, zone: ZoneInfo) -> ExposedView:
    """Prepare what no copy holds; `whole` is all that the original holds (None: it was never yet seen whole).

    Both shares are said: by bytes alone many small files vanish, and by files alone one large one does.
    """
    if exposure is None:
        return ExposedView(said="not known")
    if not exposure.files and not exposure.bytes:
        return ExposedView(said="nothing")
    shares = ""
    if whole is not None:
        of_files, of_bytes = _percent(exposure.files, whole.files), _percent(exposure.bytes, whole.bytes)
        shares = f": {of_files} of its files, {of_bytes} of its bytes"
    return ExposedView(
        said=f"{amount(Tally(files=exposure.files, bytes=exposure.bytes))}{shares}",
        largest=tuple(_named(exposure.samples[:LARGEST_SHOWN], zone)),
        oldest=tuple(_named(exposure.oldest, zone)),
    )


def _named(samples: Iterable[Sample], zone: ZoneInfo) -> Iterable[NamedFile]:
    for sample in samples:
        yield NamedFile(path=sample.path, said=f"{format_size(sample.size)}, of {_day(sample.mtime_ns, zone)}")


def _day(mtime_ns: int, zone: ZoneInfo) -> str:
    try:
        return day(from_ns(mtime_ns), zone)
    except OverflowError:
        return "a time that cannot be"


def _percent(part: int, whole: int) -> str:
    if part >= whole:
        return "all" if part else "none"
    share = 100 * part / whole
    return f"{share:.0f}%" if share >= 1 else "under 1%" if part else "none"
