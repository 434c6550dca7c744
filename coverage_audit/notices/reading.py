"""Asking now and then whether anybody reads what is mailed.

Each weekly mail bears a word that nothing else shows. Who types it where the auditor runs (`coverage-audit seen WORD`)
has read that mail, to that address.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import day
from coverage_audit.ledger.reader_book import Reader

ASKED_EVERY: Final = timedelta(days=90)
"""So long what somebody said holds; then it is asked again, at the head of each weekly mail."""

_LETTERS: Final = 8


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What a weekly mail says of its readers: at its head (`notes`), and at its end (`closing`)."""

    notes: tuple[str, ...]
    closing: tuple[str, ...]


def word_of(target: str, page_of: date, seed: bytes) -> str:
    """Return the word of a weekly mail: nobody who has not read it knows it, for `seed` is the ledger's secret."""
    named = f"seen {target}\0{page_of}".encode("utf-8", "backslashreplace")
    return hashlib.blake2b(named, key=seed, digest_size=_LETTERS // 2).hexdigest()


def whose(word: str, targets: Iterable[str], dates: Iterable[date], seed: bytes) -> tuple[str, date] | None:
    """Return the address and the date of the mail that bears a word (None: none does)."""
    wanted = word.strip().lower()
    pairs = ((target, day) for day in sorted(dates, reverse=True) for target in targets)
    return next((pair for pair in pairs if word_of(*pair, seed) == wanted), None)


def asked(
    target: str, others: Iterable[str], last: Mapping[str, Reader], word: str, *, now: datetime, zone: ZoneInfo
) -> Asked:
    """Return what the mail to `target` says of its readers, and of `others` whom nobody confirmed for long."""
    how = f"coverage-audit seen {word}"
    silent = tuple(_silent(name, last.get(name), now, zone) for name in others if _is_due(last.get(name), now))
    reader = last.get(target)
    if reader is None or _is_due(reader, now):
        return Asked(notes=(f"{_silent(target, reader, now, zone)} If you read this, say so: {how}",), closing=silent)
    when = day(reader.at, zone)
    said = f"{visible(reader.who)} said on {when} that what goes to '{visible(target)}' is read. To say so again: {how}"
    return Asked(notes=(), closing=(said, *silent))


def _is_due(reader: Reader | None, now: datetime) -> bool:
    return reader is None or now - reader.at > ASKED_EVERY


def _silent(target: str, reader: Reader | None, now: datetime, zone: ZoneInfo) -> str:
    if reader is None:
        return f"Nobody has said yet that what goes to '{visible(target)}' is read."
    since = f"{day(reader.at, zone)}, {(now - reader.at).days} days ago,"
    return f"Nobody has said since {since} that what goes to '{visible(target)}' is read."
