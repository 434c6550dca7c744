"""What became of each file of a drill: what came back is held against the original as it is now, or what is stored.

A file counts as restored when its content is that of the original, which has just been read too, or that of a digest
stored for the original's file of these figures. Where both are known and differ from each other, the original itself
has decayed, and the copy is what it should be if it agrees with the older one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from coverage_audit.audits.drill_choice import Choice
from coverage_audit.comparison.drawing import Drawn, Listed
from coverage_audit.evidence.content import HashedFiles, StoredDigest
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.drilling import Fate, FileBack, FilesBack, Incident
from coverage_audit.evidence.facts import Gap

NOT_HELD = "the copy was not found to hold it as the original has it, by the last audit"
NOT_REACHED = "it was not reached"
OTHER_CONTENT = "what came back is not what the original holds, although no time and no size says so"
OTHER_THAN_STORED = "what came back is not what is stored of the original's content"
ORIGINAL_DECAYED = (
    "the original holds something else by now than is stored of it: the copy is right, the original is not"
)


@dataclass(frozen=True, kw_only=True)
class Originals:
    """What the originals hold: as they were read now (a gap: they could not be), and stored digests by path."""

    now: HashedFiles | Gap
    stored: Mapping[bytes, tuple[StoredDigest, ...]] = field(default_factory=dict)

    def digest_now(self, path: bytes) -> bytes | None:
        """Return the digest of an original as it was read now."""
        if isinstance(self.now, Gap):
            return None
        return next((one.digest for one in self.now.hashed if one.path == path), None)

    @property
    def algorithm(self) -> str:
        """By which the originals were digested now."""
        return "" if isinstance(self.now, Gap) else self.now.algorithm

    def is_another(self, path: bytes) -> bool:
        """Whether the original was looked at and is not the file any more that was listed."""
        return not isinstance(self.now, Gap) and any(one.path == path for one in self.now.not_hashed)

    def why_not(self, path: bytes) -> str:
        """Say why there is none."""
        if isinstance(self.now, Gap):
            return f"the original could not be read: {self.now}"
        found = next((one.why for one in self.now.not_hashed if one.path == path), None)
        return f"the original: {found}" if found else "the original was not read within the time"


@dataclass(frozen=True, kw_only=True)
class Fates:
    """What became of all files. `by_originals` of the restored ones agree with their originals as they are now."""

    restored: dict[bytes, int]  # bytes by path
    by_originals: int
    incidents: tuple[Incident, ...]
    sizes: Mapping[bytes, int]

    def count(self, fate: Fate) -> int:
        """Count the files of a fate."""
        return sum(one.fate is fate for one in self.incidents)

    @property
    def damaged(self) -> Tally:
        """The damaged files."""
        paths = [one.path for one in self.incidents if one.fate is Fate.DAMAGED]
        return Tally(files=len(paths), bytes=sum(self.sizes.get(path, 0) for path in paths))


def fates_of(choice: Choice, back: FilesBack, originals: Originals) -> Fates:
    """Tell what became of each file that was chosen."""
    restored: dict[bytes, int] = {}
    by_originals = 0
    incidents = [Incident(path=path, fate=Fate.UNREAD, why=NOT_HELD) for path in choice.missing]
    stopped = f": {back.stopped}" if back.stopped else ""
    incidents += [Incident(path=one.path, fate=Fate.UNREAD, why=NOT_REACHED + stopped) for one in back.left]
    for one in back.back:
        told = _told(one, choice.files[one.path], originals)
        if told.fate in {Fate.RESTORED, Fate.ORIGINAL}:
            restored[one.path] = one.size
            by_originals += told.by_original
        if told.fate is not Fate.RESTORED:
            incidents.append(Incident(path=one.path, fate=told.fate, why=told.why))
    sizes = {one.path: one.size for one in back.back}
    return Fates(restored=restored, by_originals=by_originals, incidents=tuple(incidents), sizes=sizes)


@dataclass(frozen=True, kw_only=True)
class _Told:
    fate: Fate
    why: str = ""
    by_original: bool = False


def _told(one: FileBack, drawn: Drawn, originals: Originals) -> _Told:
    if one.why is not None:
        return _Told(fate=Fate.CHANGED if one.is_another else Fate.UNREAD, why=one.why)
    came = dict(one.digests)
    stored = [digest for digest in originals.stored.get(one.path, ()) if stands(digest, drawn.original)]
    as_stored = [came[digest.algorithm] == digest.digest for digest in stored if digest.algorithm in came]
    now = originals.digest_now(one.path)
    if now is not None:
        if came.get(originals.algorithm) == now:
            return _Told(fate=Fate.RESTORED, by_original=True)
        if any(as_stored):
            return _Told(fate=Fate.ORIGINAL, why=ORIGINAL_DECAYED)
        return _Told(fate=Fate.DAMAGED, why=OTHER_CONTENT)
    if not as_stored:
        fate = Fate.CHANGED if originals.is_another(one.path) else Fate.UNHELD
        return _Told(fate=fate, why=originals.why_not(one.path))
    return _Told(fate=Fate.RESTORED) if all(as_stored) else _Told(fate=Fate.DAMAGED, why=OTHER_THAN_STORED)


def stands(digest: StoredDigest, listed: Listed) -> bool:
    """Whether a stored digest is of the file that is listed: of one size and mtime, and ctime where both are known."""
    if (digest.size, digest.mtime_ns) != (listed.size, listed.mtime_ns):
        return False
    return None in {digest.ctime_ns, listed.ctime_ns} or digest.ctime_ns == listed.ctime_ns
