"""Reading the same files of an original and of a copy: what each turned out to be.

A digest of this round that still stands spares a second reading, on either side: it is of this file with these very
figures (the ctime among them, where a box shows it), and no older than the round that it serves, from whose beginning
its statement counts. So the original is read once for all its copies, and nothing twice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum

from coverage_audit.audits.content_figures import moved_on, same_instant, stands
from coverage_audit.audits.content_pair import ContentPair, ReadPlace
from coverage_audit.audits.content_time import ContentTime
from coverage_audit.audits.parts import Parts
from coverage_audit.comparison.drawing import Drawn, Listed
from coverage_audit.errors import CollectionError
from coverage_audit.evidence.content import HashedFile, StoredDigest, Wanted
from coverage_audit.evidence.facts import Gap
from coverage_audit.evidence.verified import Harm, Spoilt


class Fate(StrEnum):
    """What became of a file that was to be read on both sides."""

    SAME = "same"
    DIFFERS = "differs"
    NOT_SHOWN = "not shown"  # one side could not be read, or the copy changed and the original did not
    TOUCHED = "touched"  # in the copy since it was listed: it may be another file than that one
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
    """One side's digests: those that were `known`, those that count now (the `fresh` among them), what was not read."""

    known: Mapping[bytes, StoredDigest]
    digests: Mapping[bytes, HashedFile]
    fresh: tuple[HashedFile, ...] = ()
    not_hashed: frozenset[bytes] = frozenset()
    seconds: float = 0.0
    stopped: Gap | None = None


@dataclass(frozen=True, kw_only=True)
class Reader:
    """Reads files of one pair. `former` says of spoilt files of the original what their digest should be.

    `note` is told what was found before the digest that showed it takes the place of the one before: a crash between
    the two must not lose what a file held.
    """

    pair: ContentPair
    time: ContentTime
    parts: Parts
    note: Callable[[Readings], None]
    former: Mapping[bytes, Spoilt] = field(default_factory=dict)

    def read(self, files: Sequence[Drawn], since: datetime) -> Readings:
        """Read files on both sides, in their order; digests that were made since then spare it.

        Raises LedgerError. Whatever a box does, it becomes a fate.
        """
        mine = self._side(self.pair.original, {one.path: one.original for one in files}, since)
        self._keep_decay(files, mine)
        self._remember(self.pair.original, mine)
        wanted = {one.there: one.copy for one in files if one.path in mine.digests}
        other = self._side(self.pair.copy, wanted, since)
        unread = [one for one in files if one.path in mine.not_hashed or one.there in other.not_hashed]
        changed = self._changed(unread) if unread else frozenset[bytes]()
        same_clock = self.pair.original.clock == self.pair.copy.clock
        readings = Readings(
            reads=tuple(self._fate(one, mine, other, changed) for one in files),
            seconds=(mine.seconds + other.seconds) if same_clock else max(mine.seconds, other.seconds),
            stopped=mine.stopped or other.stopped,
        )
        self.note(readings)
        self._remember(self.pair.copy, other)
        return readings

    def _keep_decay(self, files: Sequence[Drawn], mine: _Side) -> None:
        found = (
            (one, self._decayed(mine.digests[one.path], mine.known.get(one.path)))
            for one in files
            if one.path in mine.digests
        )
        reads = tuple(
            Read(file=one, fate=Fate.UNREACHED, original=spoilt) for one, spoilt in found if spoilt is not None
        )
        if reads:
            self.note(Readings(reads=reads))

    def _remember(self, place: ReadPlace, side: _Side) -> None:
        if side.fresh:
            self.parts.ledger.digests.add(
                place.address, self.pair.algorithm, side.fresh, self.parts.clock(), place.device.formerly
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
            if path in known and since <= known[path].again_at <= now and stands(known[path], one)
        }
        wanted = [
            Wanted(path=path, size=one.size, mtime_ns=one.mtime_ns)
            for path, one in listed.items()
            if path not in spared and not self.time.never_fits(one.size)
        ]
        too_large = frozenset(path for path, one in listed.items() if self.time.never_fits(one.size)) - spared.keys()
        side = _Side(known=known, digests=spared, not_hashed=too_large)
        if not wanted or self.time.is_over(place.clock):
            return side
        return _timed(self._hashed(place, wanted, side), listed)

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
        unread = {one.path for one in found.not_hashed}
        if whole_night and found.left and found.stopped is None and not (found.hashed or unread):
            unread = {wanted[0].path}  # a whole night is not enough for it, as slowly as this box reads
        return replace(
            side,
            digests={**side.digests, **{one.path: one for one in found.hashed}},
            fresh=found.hashed,
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
                one.path for one in files if one.path in now and moved_on(one.original, now[one.path], step)
            )
        return frozenset()

    def _fate(self, one: Drawn, mine: _Side, other: _Side, changed: frozenset[bytes]) -> Read:
        path, there = one.path, one.there
        original, copy = mine.digests.get(path), other.digests.get(there)
        if path in changed or (original is not None and not same_instant(original.ctime_ns, one.original.ctime_ns)):
            return Read(file=one, fate=Fate.CHANGED)
        if path in mine.not_hashed or there in other.not_hashed:
            return Read(file=one, fate=Fate.NOT_SHOWN)
        if original is None:
            return Read(file=one, fate=Fate.UNREACHED)
        decayed = self._decayed(original, mine.known.get(path))
        if copy is None or _is_touched(copy, one.copy):
            return Read(file=one, fate=Fate.UNREACHED if copy is None else Fate.TOUCHED, original=decayed)
        wanted = original.digest if decayed is None else decayed.wanted
        if copy.digest == wanted:
            held = None if decayed is None else _held_by(decayed, self.pair)
            return Read(file=one, fate=Fate.SAME, original=held)
        harm = _harm(copy, other.known.get(there), wanted)
        if harm is Harm.REWRITTEN and self.pair.copy.address.has_point:
            harm = Harm.DIFFERS  # another point's file is another file
        spoilt = replace(_spoilt(copy, harm, wanted, self.parts.clock()), path=path)
        return Read(file=one, fate=Fate.DIFFERS, original=decayed, copy=spoilt)

    def _decayed(self, now: HashedFile, before: StoredDigest | None) -> Spoilt | None:
        """Say that an original's file holds another content than it did, though nothing says that it was written to."""
        known = self.former.get(now.path)
        if known is not None and (known.size, known.mtime_ns) == (now.size, now.mtime_ns):
            return None if now.digest == known.wanted else replace(known, digest=now.digest)
        if before is None or before.digest == now.digest or _harm(now, before, before.digest) is not Harm.DECAYED:
            return None
        return _spoilt(now, Harm.DECAYED, before.digest, self.parts.clock())


def _timed(side: _Side, listed: Mapping[bytes, Listed]) -> _Side:
    """Give digests that came without ctimes those of the listing: what was written to after it has another then."""
    fresh = tuple(
        one if one.ctime_ns is not None else replace(one, ctime_ns=listed[one.path].ctime_ns) for one in side.fresh
    )
    return replace(side, fresh=fresh, digests={**side.digests, **{one.path: one for one in fresh}})


def _is_touched(now: HashedFile, listed: Listed) -> bool:
    """Whether a file of a copy is not the one that was listed. One of several names may have got another one since."""
    return (listed.links or 1) == 1 and not same_instant(now.ctime_ns, listed.ctime_ns)


def _harm(now: HashedFile, before: StoredDigest | None, wanted: bytes) -> Harm:
    """Say what became of a file whose content is not `wanted`, by what it was when it was read before."""
    if before is None or before.digest != wanted or (before.size, before.mtime_ns) != (now.size, now.mtime_ns):
        return Harm.DIFFERS
    return Harm.DECAYED if same_instant(before.ctime_ns, now.ctime_ns) else Harm.REWRITTEN


def _spoilt(now: HashedFile, harm: Harm, wanted: bytes, at: datetime) -> Spoilt:
    return Spoilt(
        path=now.path, harm=harm, size=now.size, mtime_ns=now.mtime_ns, digest=now.digest, wanted=wanted, at=at
    )


def _held_by(spoilt: Spoilt, pair: ContentPair) -> Spoilt:
    return replace(spoilt, held_by=tuple(dict.fromkeys((*spoilt.held_by, pair.copy.address))))
