from __future__ import annotations

import json
from datetime import UTC, timedelta

from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.evidence.facts import DeviceFacts, PinnedFact, PointList, RecoveryPoint, VolumeFacts
from coverage_audit.evidence.points_past import LeftPoint, PointsPast
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding
from coverage_audit.ledger import mapping
from coverage_audit.ledger.mapping_past import load_past, store_past
from tests.builders.recorded import COPY, HERON

words = st.text(st.characters())  # lone surrogates and NUL too
instants = st.datetimes(timezones=st.just(UTC))
durations = st.timedeltas(min_value=timedelta(days=-9999), max_value=timedelta(days=9999))


def through_json(value: object) -> object:
    return json.loads(json.dumps(value))


@given(
    st.builds(
        Finding,
        rule=words,
        subject=words,
        answer=st.sampled_from(Answer),
        measured=words,
        required=words,
        message=words,
        mend=words,
        control=words,
        evidence=st.lists(
            st.builds(EvidenceItem, what=words, where=words, at=st.none() | instants, how=words), max_size=3
        ).map(tuple),
    )
)
def test_a_finding_comes_back_as_it_was(finding: Finding) -> None:
    stored = through_json(mapping.store_finding(finding))
    assert isinstance(stored, dict)
    assert mapping.load_finding(stored) == finding


@given(
    st.builds(
        DeviceFacts,
        device=st.just(HERON.device),
        at=instants,
        over=st.sampled_from(["local", "ssh"]),
        machine_id=st.none() | words,
        boot_id=st.none() | words,
        host_key=st.none() | words,
        is_guest=st.none() | st.booleans(),
        own_addresses=st.frozensets(words),
        clock_offset=st.none() | durations,
        clock_uncertainty=st.none() | durations,
        time_zone=st.none() | words,
    )
)
def test_what_a_device_showed_comes_back_as_it_was(facts: DeviceFacts) -> None:
    stored = through_json(mapping.store_device_facts(facts))
    assert isinstance(stored, dict)
    assert mapping.load_device_facts(facts.device, facts.at, stored) == facts


sizes = st.none() | st.integers(min_value=0, max_value=2**63)


@given(
    st.builds(
        VolumeFacts,
        volume=st.just(HERON),
        at=instants,
        path=words,
        filesystem_type=st.none() | words,
        filesystem_uuid=st.none() | words,
        mount_source=st.none() | words,
        mount_target=st.none() | words,
        fs_root=st.none() | words,
        device_number=st.none() | words,
        drives=st.frozensets(words),
        backing_file=st.none() | words,
        on_root=st.none() | st.booleans(),
        read_only=st.none() | st.booleans(),
        rotational=st.none() | st.booleans(),
        capacity=sizes,
        free=sizes,
        inodes=sizes,
        inodes_free=sizes,
    )
)
def test_what_a_volume_showed_comes_back_as_it_was(facts: VolumeFacts) -> None:
    stored = through_json(mapping.store_volume_facts(facts))
    assert isinstance(stored, dict)
    assert mapping.load_volume_facts(HERON.device, HERON.volume, facts.at, stored) == facts


@given(
    st.builds(
        PointList,
        address=st.just(COPY),
        at=instants,
        points=st.lists(
            st.builds(
                RecoveryPoint,
                name=words,
                earliest=instants,
                latest=instants,
                assumed_zone=st.none() | words,
                sealed=st.booleans(),
                generation=st.none() | st.integers(0),
            )
        ).map(tuple),
        refused=st.lists(st.tuples(words, words)).map(tuple),
        thin=st.lists(st.builds(RecoveryPoint, name=words, earliest=instants, latest=instants, size=st.just(0))).map(
            tuple
        ),
    )
)
def test_recovery_points_come_back_as_they_were(points: PointList) -> None:
    stored = through_json(mapping.store_points(points))
    assert isinstance(stored, dict)
    assert mapping.load_points(points.address, points.at, stored) == points


@given(
    st.builds(
        PointsPast,
        since=instants,
        oldest=st.none() | instants,
        left=st.lists(
            st.builds(LeftPoint, name=words, at=instants, seen=instants, gone=instants, size=st.none() | st.integers(0))
        ).map(tuple),
        listed=st.lists(instants).map(tuple),
        rewritten=st.lists(words).map(tuple),
    )
)
def test_what_is_remembered_of_points_comes_back_as_it_was(past: PointsPast) -> None:
    stored = through_json(store_past(past))
    assert isinstance(stored, dict)
    assert load_past(stored) == past


@given(st.lists(st.builds(PinnedFact, name=words, value=words)).map(tuple))
def test_pins_come_back_as_they_were(facts: tuple[PinnedFact, ...]) -> None:
    stored = through_json(mapping.store_pins(facts))
    assert isinstance(stored, list)
    assert mapping.load_pins(stored) == facts
