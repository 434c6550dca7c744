"""Reading the same files of an original and of a copy: what each turned out to be.

A digest of this round that still stands spares a second reading, on either side: it is of this file with these very
figures, the ctime among them, and no older than the round that it serves. So the original is read once for all its
copies. Each digest is kept before it is used.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from typing import Final

from coverage_audit.audits.content_pair import ContentPair, ReadPlace
from coverage_audit.audits.content_time import ContentTime
from coverage_audit.audits.parts import Parts
from coverage_audit.comparison.drawing import Drawn, Listed
from coverage_audit.errors import CollectionError
from coverage_audit.evidence.content import HashedFile, StoredDigest, Wanted
from coverage_audit.evidence.facts import Gap
from coverage_audit.evidence.verified import Harm, Spoilt

_SECOND: Final = 10**9


class Fate(StrEnum):
    """What became of a file that was to be read on both sides."""

    SAME = "same"
    DIFFERS = "differs"
    NOT_SHOWN = "not shown"  # one side could not be read, or the copy changed and the original did not
    CHANGED = "changed"  # in the original since it was listed: it is no file of that listing any more
    UNREACHED = "unreached"


@dataclass(frozen=True, kw_only=True)
class Read:
    """One file, and what of either side is spoilt (None: nothing was seen to be)."""

    file: Drawn
    fate: Fate
    original: Spoilt | None = None
    copy: Spoilt | None = None

    @property
    def settled(self) -> bool:
        """Whether both sides were read."""
        return self.fate in {Fate.SAME, Fate.DIFFERS}


@dataclass(frozen=True, kw_only=True)
class Readings:
    """What became of some files, in their order. `seconds` were spent on the slower side; `stopped` says why, if so."""

    reads: tuple[Read, ...]
    seconds: float = 0.0
    stopped: Gap | None = None


@dataclass(frozen=True, kw_only=True)
class _Side:
    """One side's digests: those that were `known`, those that count now, and what could not be read."""

    known: Mapping[bytes, StoredDigest]
    digests: Mapping[bytes, HashedFile]
    not_hashed: frozenset[bytes] = frozenset()
    seconds: float = 0.0
    stopped: Gap | None = None


@dataclass(frozen=True, kw_only=True)
class Reader:
    """Reads files of one pair. `former` says of spoilt files of the original what their digest should be."""

    pair: ContentPair
    time: ContentTime
    parts: Parts
    former: Mapping[bytes, Spoilt] = field(default_factory=dict)

    def read(self, files: Sequence[Drawn], since: datetime) -> Readings:
        """Read files on both sides, in their order; digests that were made since then spare it.

        Raises LedgerError. Whatever a box does, it becomes a fate.
        """
        mine = self._side(self.pair.original, {one.path: one.original for one in files}, since)
        wanted = {one.path: one.copy for one in files if one.path in mine.digests}
        other = self._side(self.pair.copy, wanted, since)
        unread = mine.not_hashed | other.not_hashed
        changed = self._changed([one for one in files if one.path in unread]) if unread else frozenset[bytes]()
        same_clock = self.pair.original.clock == self.pair.copy.clock
        return Readings(
            reads=tuple(self._fate(one, mine, other, changed) for one in files),
            seconds=(mine.seconds + other.seconds) if same_clock else max(mine.seconds, other.seconds),
            stopped=mine.stopped or other.stopped,
        )

    def _side(self, place: ReadPlace, listed: Mapping[bytes, Listed], since: datetime) -> _Side:
        known = self.parts.ledger.digests.lookup(
            place.address, self.pair.algorithm, tuple(listed), place.device.formerly
        )
        now = self.parts.clock()  # what bears a time to come is no evidence
        spared = {
            path: HashedFile(
                path=path, size=one.size, mtime_ns=one.mtime_ns, ctime_ns=one.ctime_ns, digest=known[path].digest
            )
            for path, one in listed.items()
            if path in known and since <= known[path].again_at <= now and _surely_stands(known[path], one)
        }
        wanted = [
            Wanted(path=path, size=one.size, mtime_ns=one.mtime_ns)
            for path, one in listed.items()
            if path not in spared and not self.time.never_fits(one.size)
        ]
        too_large = frozenset(path for path, one in listed.items() if self.time.never_fits(one.size)) - spared.keys()
        side = _Side(known=known, digests=spared, not_hashed=too_large)
        return self._hashed(place, wanted, side) if wanted and not self.time.is_over(place.clock) else side

    def _hashed(self, place: ReadPlace, wanted: Sequence[Wanted], side: _Side) -> _Side:
        whole_night = self.time.is_whole(place.clock)
        found = self.parts.hash_files(
            place.device,
            place.root,
            wanted,
            algorithm=self.pair.algorithm,
            budget=self.time.left(place.clock),
            rate=self.time.limits.content_rate,
        )
        if isinstance(found, Gap):
            return replace(side, stopped=found)
        self.time.spend(place.clock, found.seconds)
        self.parts.ledger.digests.add(
            place.address, found.algorithm, found.hashed, self.parts.clock(), place.device.formerly
        )
        unread = {one.path for one in found.not_hashed}
        if whole_night and found.left and found.stopped is None and not (found.hashed or unread):
            unread = {wanted[0].path}  # a whole night is not enough for it, as slowly as this box reads
        return replace(
            side,
            digests={**side.digests, **{one.path: one for one in found.hashed}},
            not_hashed=side.not_hashed | unread,
            seconds=found.seconds,
            stopped=found.stopped,
        )

    def _changed(self, files: Sequence[Drawn]) -> frozenset[bytes]:
        """Return which of these are not what they were in the original when it was listed."""
        place = self.pair.original
        with suppress(CollectionError):
            looks = self.parts.look_again(place.device, place.root, [one.path for one in files])
            now = {look.path: (look.size, look.mtime_ns) for look in looks}
            step = max(1, self.pair.compared.original.origin.precision_ns)
            return frozenset(
                one.path for one in files if one.path in now and _moved_on(one.original, now[one.path], step)
            )
        return frozenset()

    def _fate(self, one: Drawn, mine: _Side, other: _Side, changed: frozenset[bytes]) -> Read:
        path = one.path
        original, copy = mine.digests.get(path), other.digests.get(path)
        if path in changed or (original is not None and not _same_instant(original.ctime_ns, one.original.ctime_ns)):
            return Read(file=one, fate=Fate.CHANGED)
        if path in mine.not_hashed or path in other.not_hashed:
            return Read(file=one, fate=Fate.NOT_SHOWN)
        if original is None:
            return Read(file=one, fate=Fate.UNREACHED)
        decayed = self._decayed(original, mine.known.get(path))
        if copy is None:
            return Read(file=one, fate=Fate.UNREACHED, original=decayed)
        wanted = original.digest if decayed is None else decayed.wanted
        if copy.digest == wanted:
            held = None if decayed is None else _held_by(decayed, self.pair)
            return Read(file=one, fate=Fate.SAME, original=held)
        harm = _harm(copy, other.known.get(path), wanted)
        if harm is Harm.REWRITTEN and self.pair.copy.address.has_point:
            harm = Harm.DIFFERS  # another point's file is another file
        spoilt = _spoilt(copy, harm, wanted, self.parts.clock())
        return Read(file=one, fate=Fate.DIFFERS, original=decayed, copy=spoilt)

    def _decayed(self, now: HashedFile, before: StoredDigest | None) -> Spoilt | None:
        """Say that an original's file holds another content than it did, though nothing says that it was written to."""
        known = self.former.get(now.path)
        if known is not None and (known.size, known.mtime_ns) == (now.size, now.mtime_ns):
            return None if now.digest == known.wanted else replace(known, digest=now.digest)
        if before is None or before.digest == now.digest or _harm(now, before, before.digest) is not Harm.DECAYED:
            return None
        return _spoilt(now, Harm.DECAYED, before.digest, self.parts.clock())


def _surely_stands(known: StoredDigest, listed: Listed) -> bool:
    """Whether a stored digest is of this very state of the file: all figures are known, and the same."""
    if known.ctime_ns is None or listed.ctime_ns is None:
        return False
    same = (known.size, known.mtime_ns) == (listed.size, listed.mtime_ns)
    return same and _same_instant(known.ctime_ns, listed.ctime_ns)


def _same_instant(first: int | None, second: int | None) -> bool:
    """Whether two ctimes may be one: to the second, where one of them is told by whole seconds."""
    if first is None or second is None:
        return True
    step = 1 if first % _SECOND and second % _SECOND else _SECOND
    return first // step == second // step


def _harm(now: HashedFile, before: StoredDigest | None, wanted: bytes) -> Harm:
    """Say what became of a file whose content is not `wanted`, by what it was when it was read before."""
    if before is None or before.digest != wanted or (before.size, before.mtime_ns) != (now.size, now.mtime_ns):
        return Harm.DIFFERS
    return Harm.DECAYED if _same_instant(before.ctime_ns, now.ctime_ns) else Harm.REWRITTEN


def _spoilt(now: HashedFile, harm: Harm, wanted: bytes, at: datetime) -> Spoilt:
    return Spoilt(
        path=now.path, harm=harm, size=now.size, mtime_ns=now.mtime_ns, digest=now.digest, wanted=wanted, at=at
    )


def _held_by(spoilt: Spoilt, pair: ContentPair) -> Spoilt:
    return replace(spoilt, held_by=tuple(dict.fromkeys((*spoilt.held_by, pair.copy.address))))


def _moved_on(listed: Listed, now: tuple[int | None, int | None], step: int) -> bool:
    size, mtime_ns = now
    return size != listed.size or mtime_ns is None or mtime_ns // step != listed.mtime_ns // step
