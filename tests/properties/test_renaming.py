"""The law of renaming: to call everything otherwise changes no answer, no age and no news of a finding."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import Address, DatasetId, DeviceId, VolumeId, VolumeKey
from coverage_audit.judgement import subjects
from coverage_audit.judgement.verdict import Answer, Finding
from coverage_audit.ledger.threads import followed
from coverage_audit.ledger.transitions import Found, Stood, changes, findings_of, since, vanished
from tests.builders.recorded import a_finding, a_judged, night

OF_THE_ESTATE = frozenset({"device", "volume"})
IDS = st.from_regex(r"[a-z][a-z0-9._-]{0,5}", fullmatch=True)
PATHS = st.sampled_from(["recordings", "a b/%40", "x@y:z/1", "naïve/ÿ", ""])

Names = tuple[DatasetId, DeviceId, str]
"""What the dataset and the copy's device are called, and the path below it."""

Nights = list[dict[str, Answer]]
"""What was answered each night, by kind of subject."""

NIGHTS = st.lists(
    st.dictionaries(st.sampled_from(["dataset", "criterion", "place", "device", "volume"]), st.sampled_from(Answer)),
    min_size=2,
    max_size=6,
)
NAMES = st.tuples(IDS.map(DatasetId), IDS.map(DeviceId), PATHS)


def subject(kind: str, names: Names) -> str:
    dataset, device, path = names
    volume = VolumeKey(device=device, volume=VolumeId("pool"))
    return {
        "dataset": subjects.dataset_subject(dataset),
        "criterion": subjects.criterion_subject(dataset, "keep/all"),
        "place": subjects.place_subject(dataset, Address(volume=volume, path=path)),
        "device": subjects.device_subject(device),
        "volume": subjects.volume_subject(volume),
    }[kind]


def lineage(now: Names, former: list[Names]) -> Lineage:
    """What the owner declares of all former names; those that it bears now are not former."""
    devices = [name for name in dict.fromkeys(names[1] for names in former) if name != now[1]]
    datasets = [name for name in dict.fromkeys(names[0] for names in former) if name != now[0]]
    places = [Address(volume=VolumeKey(device=d, volume=VolumeId("pool")), path=p) for _, d, p in former]
    here = Address(volume=VolumeKey(device=now[1], volume=VolumeId("pool")), path=now[2])
    return Lineage(
        devices=((now[1], *devices),), datasets=((now[0], *datasets),), moved={(now[0], here): tuple(places)}
    )


def lived(nights: Nights, named: list[Names]) -> list[tuple[dict[str, datetime], list[tuple[str, str]]]]:
    """Live through the nights; for each since when each kind of finding is open, and the news of it."""
    stood: Mapping[str, Stood] = {}
    told = []
    for number, (answers, names) in enumerate(zip(nights, named, strict=True)):
        findings = {kind: _finding(kind, names, answer) for kind, answer in answers.items()}
        own = [finding for kind, finding in findings.items() if kind in OF_THE_ESTATE]
        rest = [finding for kind, finding in findings.items() if kind not in OF_THE_ESTATE]
        judged = a_judged(night(number), datasets={names[0]: rest}, estate_findings=own)
        found = findings_of(judged)
        before, _ = followed(stood, found, lineage(names, named[:number]))
        gone = vanished(before, found, judged)
        begun = {name: since(before.get(name), one.finding, night(number)) for name, one in found.items()}
        news = sorted((one.finding.rule, one.kind.value) for one in changes(before, found, gone, night(number)))
        told.append(({found[name].finding.rule: at for name, at in begun.items() if at is not None}, news))
        stood = {name: _stood(one, begun[name]) for name, one in found.items()}
    return told


def _finding(kind: str, names: Names, answer: Answer) -> Finding:
    return a_finding(f"rule-of-{kind}:{subject(kind, names)}", answer)


def _stood(found: Found, begun: datetime | None) -> Stood:
    return Stood(finding=found.finding, dataset=found.dataset, since=begun)


@given(nights=NIGHTS, data=st.data())
def test_under_new_names_each_night_all_goes_on_as_under_one(nights: Nights, data: st.DataObject) -> None:
    names = [data.draw(NAMES) for _ in nights]
    assert lived(nights, names) == lived(nights, [names[0]] * len(nights))


@given(first=NAMES, now=NAMES)
def test_what_is_not_declared_does_not_go_on(first: Names, now: Names) -> None:
    then, later = (
        findings_of(a_judged(datasets={names[0]: [_finding("place", names, Answer.NONCONFORMITY)]}))
        for names in (first, now)
    )
    before = {name: _stood(one, night(0)) for name, one in then.items()}
    assert followed(before, later, Lineage()) == (before, {})
