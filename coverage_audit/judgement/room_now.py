"""What a volume's room says tonight, without any history: that it is full, that what is to come does not fit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from coverage_audit.estate.units import format_size
from coverage_audit.evidence.difference import Tally
from coverage_audit.judgement.forecast import RoomForecast
from coverage_audit.judgement.forecast_words import room
from coverage_audit.judgement.verdict import Answer, JudgedCopy
from coverage_audit.judgement.wording import files

MAKE_ROOM: Final = "Make room on it, give it more, or keep fewer recovery points there."
_SEE: Final = "Mend what stood in the way of seeing the volume, then audit again."


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """An answer with what was measured, in words. `kind` is one word for what sort of trouble it is."""

    answer: Answer
    measured: str
    said: str
    mend: str = MAKE_ROOM
    kind: str = ""


def not_known(measured: str, said: str) -> Outlook:
    """Return what is said where something was not observed."""
    return Outlook(answer=Answer.UNVERIFIED, measured=measured, said=said, mend=_SEE)


def trouble_now(forecast: RoomForecast, copies: Iterable[JudgedCopy]) -> Outlook | None:
    """Say what is wrong with a volume tonight, whatever its history (None: nothing that is shown).

    `copies` are those that lie on it.
    """
    return _full(forecast) or _does_not_fit(forecast, copies) or _not_shown(forecast)


def _full(forecast: RoomForecast) -> Outlook | None:
    last = forecast.last
    if last.free == 0:
        return _failing(room(forecast), "it is full: 0 bytes are free", "full")
    if last.inodes and last.inodes_free == 0:
        return _failing("no inode free", f"it is full: none of its {last.inodes} inodes is free", "full")
    return None


def _does_not_fit(forecast: RoomForecast, copies: Iterable[JudgedCopy]) -> Outlook | None:
    """Say that what its copies lack is more than it can take; what is there under an old name needs no more room."""
    last, need = forecast.last, Tally()
    for found in (copy.comparison for copy in copies):
        if found is not None:
            need += Tally(
                files=max(0, found.missing.files - found.under_old_name.files),
                bytes=max(0, found.missing.bytes - found.under_old_name.bytes),
            )
    if last.free is not None and need.bytes > last.free:
        said = f"{format_size(need.bytes)} are still to come to it, and only {format_size(last.free)} are free"
        return _failing(room(forecast), said, "overfull")
    if last.inodes and last.inodes_free is not None and need.files > last.inodes_free:
        said = f"{files(need.files)} are still to come to it, and only {last.inodes_free} inodes are free"
        return _failing(room(forecast), said, "overfull")
    return None


def _not_shown(forecast: RoomForecast) -> Outlook | None:
    if forecast.last.free is None or not forecast.last.capacity:
        return not_known("not shown", "it does not show how much room it has")
    if forecast.inodes is not None and forecast.last.inodes_free is None:
        return not_known("inodes not shown", "it does not show its inodes any more")
    return None


def _failing(measured: str, said: str, kind: str) -> Outlook:
    return Outlook(answer=Answer.NONCONFORMITY, measured=measured, said=said, kind=kind)
