"""Ways to spoil a case: one fault more, or one piece of evidence less."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

from hypothesis import strategies as st

from coverage_audit.estate.model import Medium, SiteId
from coverage_audit.evidence.difference import CopyComparison, Tally
from coverage_audit.evidence.facts import Gap, MountedFilesystem, PinState, PointList
from coverage_audit.evidence.manifest import CompleteManifest
from coverage_audit.evidence.turnover import MassChange, Sign, Turnover, Watched
from coverage_audit.judgement.case import CopyEvidence, DatasetCase, PlaceEvidence
from coverage_audit.judgement.verdict import JudgedEstate
from tests.builders.cases import (
    a_case,
    a_copy,
    a_dated_copy,
    a_gap,
    a_manifest,
    a_point,
    an_identity,
    an_original,
    device_facts,
    judged,
    volume_facts,
)
from tests.builders.station import (
    CURLEW,
    HELD,
    HERON,
    KESTREL,
    RECORDINGS,
    STARTED,
    a_device,
    a_volume,
    an_address,
    an_estate,
    changed,
)

FEW = Tally(files=3, bytes=3_000)
AVOCET = a_device("avocet", a_volume("avocet:images", medium=Medium.SSD), site=SiteId("barn"))

QUIET = Turnover(before_at=STARTED - timedelta(days=1), at=STARTED, before=HELD, now=HELD)

OnCopy = Callable[[CopyEvidence, DatasetCase], CopyEvidence]
OnPlace = Callable[[PlaceEvidence, DatasetCase], PlaceEvidence]
OnCase = Callable[[DatasetCase], DatasetCase]


def all_well() -> DatasetCase:
    """Five places: kestrel, mirrors on heron, curlew and avocet, dated folders on heron."""
    return a_case(
        a_copy(HERON, RECORDINGS.copies[0]),
        a_copy(CURLEW, RECORDINGS.copies[1]),
        a_copy(AVOCET, replace(RECORDINGS.copies[1], address=an_address("avocet:images/recordings"))),
        a_dated_copy(HERON, a_point("2026-11-24", STARTED - timedelta(hours=9), sealed=True)),
        original=an_original(watched=Watched(last=QUIET, known=9)),
    )


def audited(case: DatasetCase) -> JudgedEstate:
    return judged(case, an_estate(KESTREL, HERON, CURLEW, AVOCET))


def on_comparison(change: Callable[[CopyComparison], CopyComparison]) -> OnCopy:
    def apply(copy: CopyEvidence, _case: DatasetCase) -> CopyEvidence:
        return replace(copy, comparison=change(copy.comparison)) if copy.comparison else copy

    return apply


def lose(found: CopyComparison, **verdicts: Any) -> CopyComparison:
    """Three files more are not held."""
    return replace(
        found,
        missing=found.missing + FEW,
        same=Tally(files=max(0, found.same.files - 3), bytes=found.same.bytes),
        earliest_start=STARTED - timedelta(days=11),
        **verdicts,
    )


FAULTS_OF_A_COPY: dict[str, OnCopy] = {
    "stale": on_comparison(lambda f: lose(f, counting=f.counting + FEW, counting_rows=f.counting_rows + 3)),
    "hole": on_comparison(lambda f: lose(f, counting=f.counting + FEW, counting_rows=3, holds_newer=True)),
    "lost": on_comparison(lambda f: replace(f, missing=f.original, same=Tally())),
    "own": on_comparison(lambda f: replace(f, own=FEW, changed=f.changed + FEW)),
    "between": on_comparison(lambda f: lose(f, between=FEW, between_rows=3)),
    "unhashed": on_comparison(lambda f: replace(f, unhashed=FEW, changed=f.changed + FEW)),
    "unknown": on_comparison(lambda f: lose(f, unknown=f.unknown + FEW, blind_copy=True)),
    "blind original": on_comparison(lambda f: replace(f, blind_original=True)),
    "from tomorrow": on_comparison(lambda f: replace(f, last_work=STARTED + timedelta(days=1))),
    "nothing there": on_comparison(lambda f: replace(f, original=Tally(), same=Tally())),
    "old evidence": lambda copy, _: replace(copy, tree_at=STARTED - timedelta(days=9)),
    "old point": lambda copy, _: replace(copy, point=a_point("2026-11-02", STARTED - timedelta(days=23))),
}

EVIDENCE_OF_A_COPY: dict[str, OnCopy] = {
    "comparison": lambda copy, _: replace(copy, comparison=None, gap=a_gap()),
    "when": lambda copy, _: replace(copy, tree_at=None),
    "points": lambda copy, _: replace(copy, points=a_gap() if copy.points else None),
    "point": lambda copy, _: replace(copy, point=None),
    "all points": lambda copy, _: (
        replace(copy, points=replace(copy.points, points=())) if isinstance(copy.points, PointList) else copy
    ),
}


def on_box(**values: Any) -> OnPlace:
    def apply(place: PlaceEvidence, _case: DatasetCase) -> PlaceEvidence:
        facts = place.device_facts
        return place if isinstance(facts, Gap) else replace(place, device_facts=changed(facts, **values))

    return apply


def on_volume(**values: Any) -> OnPlace:
    def apply(place: PlaceEvidence, _case: DatasetCase) -> PlaceEvidence:
        facts = place.volume_facts
        return place if isinstance(facts, Gap) else replace(place, volume_facts=changed(facts, **values))

    return apply


def as_of_kestrel(*names: str) -> OnPlace:
    """Show the same as the original's box or volume does: they are one."""
    box, volume = device_facts("kestrel"), volume_facts(KESTREL.volumes[0])

    def apply(place: PlaceEvidence, case: DatasetCase) -> PlaceEvidence:
        for name in names:
            source = box if hasattr(box, name) else volume
            change = (on_box if hasattr(box, name) else on_volume)(**{name: getattr(source, name)})
            place = change(place, case)
        return place

    return apply


def identity(state: PinState) -> OnPlace:
    return lambda place, _: replace(place, identity=an_identity(place.volume, state, "filesystem UUID was a, is now b"))


MOUNTED = MountedFilesystem(
    source="heron.example:/srv/pool", target="/mnt/pool", filesystem_type="nfs4", is_network=True, read_only=False
)

FAULTS_OF_A_PLACE: dict[str, OnPlace] = {
    "another volume": identity(PinState.CHANGED),
    "asked about": identity(PinState.ASKED),
    "one machine": as_of_kestrel("machine_id", "boot_id"),
    "one kernel": as_of_kestrel("boot_id"),
    "one host key": as_of_kestrel("host_key"),
    "one filesystem": as_of_kestrel("filesystem_uuid"),
    "one drive": as_of_kestrel("drives"),
    "network mount": on_volume(filesystem_type="nfs4", mount_source="kestrel.example:/srv/main"),
    "guest": on_box(is_guest=True),
    "clock": on_box(clock_offset=timedelta(hours=1)),
    "medium": on_volume(rotational=True),
    "has heron mounted": on_box(filesystems=(MOUNTED,)),
    "can be written": on_volume(read_only=False),
}

# Silence about `is_guest` and `rotational` is no evidence lost: there what is declared stands.
EVIDENCE_OF_A_PLACE: dict[str, OnPlace] = {
    **{name: on_box(**{name: None}) for name in ("machine_id", "boot_id", "host_key", "clock_offset")},
    "addresses": on_box(own_addresses=frozenset()),
    **{name: on_volume(**{name: None}) for name in ("filesystem_uuid", "backing_file", "mount_source", "on_root")},
    "drives": on_volume(drives=frozenset()),
    "mounts": on_box(filesystems=(), filesystems_unseen="it has no mount table"),
    "box": lambda place, _: replace(place, device_facts=a_gap()),
    "volume": lambda place, _: replace(place, volume_facts=a_gap()),
    "identity": lambda place, _: replace(place, identity=a_gap()),
}


def shrunk(files: int) -> OnCase:
    def apply(case: DatasetCase) -> DatasetCase:
        tree = case.original.tree
        if not isinstance(tree, CompleteManifest):
            return case
        census = replace(tree.census, files=files, bytes=files)
        return replace(case, original=replace(case.original, tree=replace(tree, census=census)))

    return apply


def much_at_once(case: DatasetCase) -> DatasetCase:
    """A tenth of the original went since last night."""
    before, gone = Tally(files=1000, bytes=10**9), Tally(files=100, bytes=10**8)
    now = Tally(files=900, bytes=9 * 10**8)
    last = STARTED - timedelta(days=1)
    turnover = Turnover(before_at=last, at=STARTED, before=before, now=now, gone=gone)
    change = MassChange(since=STARTED, seen_at=STARTED, turnover=turnover, signs=(Sign.WENT,))
    watched = Watched(last=turnover, signs=change.signs, standing=change)
    return replace(case, original=replace(case.original, watched=watched))


def listing_before_lost(case: DatasetCase) -> DatasetCase:
    """What the last listing showed cannot be read any more."""
    watched = replace(case.original.watched or Watched(), last=None, why_not="it cannot be read any more")
    return replace(case, original=replace(case.original, watched=watched))


ON_THE_ORIGINAL: dict[str, OnCase] = {
    "much at once": much_at_once,
    "listing before lost": listing_before_lost,
    "emptied": shrunk(0),
    "shrunk": shrunk(7),
    "unseen": lambda case: replace(case, original=replace(case.original, tree=a_gap("kestrel"), as_of=None)),
    "as of": lambda case: replace(
        case,
        original=replace(
            case.original,
            tree=a_gap("kestrel"),
            as_of=a_manifest(case.dataset.original, at=STARTED - timedelta(days=1)),
        ),
    ),
    "copy forgotten": lambda case: replace(case, copies=case.copies[1:]),
}


@dataclass(frozen=True)
class Step:
    """One fault more, or one piece of evidence less, somewhere; its name is what a failing test shows."""

    what: str
    where: str
    apply: OnCase = field(repr=False)

    def __call__(self, case: DatasetCase) -> DatasetCase:
        """Spoil a case."""
        return self.apply(case)


@st.composite
def steps(draw: st.DrawFn) -> Step:
    """Any step. The original cannot be made one with itself: that would give back what it did not show."""
    kind = draw(st.sampled_from(["copy", "place", "original's place", "original"]))
    number = draw(st.integers(0, 3))
    if kind == "original":
        name = draw(st.sampled_from(sorted(ON_THE_ORIGINAL)))
        return Step(name, kind, ON_THE_ORIGINAL[name])
    if kind == "copy":
        changes = {**FAULTS_OF_A_COPY, **EVIDENCE_OF_A_COPY}
        name = draw(st.sampled_from(sorted(changes)))
        change = changes[name]
        return Step(name, f"{kind} {number}", lambda case: _with_copy(case, number, lambda copy: change(copy, case)))
    spoils = {**FAULTS_OF_A_PLACE, **EVIDENCE_OF_A_PLACE}
    if kind == "place":
        name = draw(st.sampled_from(sorted(spoils)))
        spoil = spoils[name]
        return Step(
            name,
            f"{kind} {number}",
            lambda case: _with_copy(case, number, lambda copy: replace(copy, place=spoil(copy.place, case))),
        )
    name = draw(st.sampled_from(sorted(name for name in spoils if not name.startswith("one "))))
    spoil = spoils[name]
    return Step(
        name,
        kind,
        lambda case: replace(case, original=replace(case.original, place=spoil(case.original.place, case))),
    )


def _with_copy(case: DatasetCase, number: int, change: Callable[[CopyEvidence], CopyEvidence]) -> DatasetCase:
    copies = list(case.copies)
    if number < len(copies):
        copies[number] = change(copies[number])
    return replace(case, copies=tuple(copies))
