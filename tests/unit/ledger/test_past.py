from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import insert

from coverage_audit.estate.changes import ChangeKind, EstateChange
from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import DatasetId, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.difference import Exposure
from coverage_audit.evidence.facts import IdentityCheck, PinState
from coverage_audit.evidence.manifest import PartialManifest
from coverage_audit.judgement.verdict import Answer, Conclusion
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.past_record import Incident, LookBack, NightOutcome, NightRecord
from coverage_audit.ledger.record import AuditRecord
from coverage_audit.ledger.tables_of_nights import NIGHTS
from tests.builders.judged import a_dataset, a_manifest, address
from tests.builders.nights import recorded
from tests.builders.recorded import ESTATE_TEXT, KESTREL, RECORDINGS, a_box_answer, a_finding, a_judged, night

DUBLIN = ZoneInfo("Europe/Dublin")
HOUR = timedelta(hours=1)
COPIES = "copies:field-recordings"
TAPES = DatasetId("tapes")
FAILS, UNVERIFIED, HOLDS = Answer.NONCONFORMITY, Answer.UNVERIFIED, Answer.CONFORMITY


def answered(ledger: Ledger, number: int, *answers: tuple[str, Answer], lineage: Lineage | None = None) -> None:
    """Record the nth night with these findings of their datasets."""
    by_dataset: dict[str, list[object]] = {}
    for name, answer in answers:
        dataset = name.partition(":")[2].partition("@")[0]
        by_dataset.setdefault(dataset, []).append(a_finding(name, answer, message=f"night {number}"))
    judged = a_judged(night(number), datasets=by_dataset)  # type: ignore[arg-type]  # findings
    recorded(ledger, number, judged=judged, lineage=lineage or Lineage())


def back(ledger: Ledger, first: int, last: int, lineage: Lineage | None = None) -> LookBack:
    """Look back over the nights after the first until the last."""
    return ledger.past.look_back(night(first), night(last), lineage or Lineage())


def told(incident: Incident) -> tuple[str, int, int | None, Answer]:
    """Say an incident by the numbers of its nights."""
    ended = None if incident.ended is None else (incident.ended - night(0)).days
    return incident.finding.id, (incident.began - night(0)).days, ended, incident.worst


def test_an_empty_ledger_has_no_past(ledger: Ledger) -> None:
    assert back(ledger, 0, 9) == LookBack(since=night(0), until=night(9))


def test_audits_are_those_after_the_begin_until_the_end(ledger: Ledger) -> None:
    for number in range(5):
        answered(ledger, number, (COPIES, FAILS if number == 2 else HOLDS))
    seen = back(ledger, 1, 3).audits
    assert [audit.started for audit in seen] == [night(2), night(3)]
    assert [audit.conclusion for audit in seen] == [Conclusion.NONCONFORMING, Conclusion.CONFORMING]
    assert seen[0].finished == night(2) + timedelta(minutes=20)
    assert seen[0].whole
    assert not seen[0].rehearsal


def test_audits_are_in_the_order_of_time_though_the_clock_was_set_back(ledger: Ledger) -> None:
    for number in (3, 1, 2):
        answered(ledger, number, (COPIES, HOLDS))
    assert [audit.started for audit in back(ledger, 0, 9).audits] == [night(1), night(2), night(3)]
    assert [day.at for day in back(ledger, 0, 9).datasets] == [night(1), night(2), night(3)]


def test_a_dataset_is_told_of_with_the_figures_of_each_audit(ledger: Ledger) -> None:
    exposed = Exposure(files=3, bytes=500, since=night(-4))
    seen = a_dataset("tapes", (), exposure=exposed, tree=a_manifest(address("kestrel", "tapes"), 70, 9_000))
    recorded(ledger, 1, judged=replace(a_judged(night(1)), datasets=(seen,)))
    (day,) = back(ledger, 0, 9).datasets
    assert (day.dataset, day.at, day.conclusion) == (TAPES, night(1), Conclusion.CONFORMING)
    assert (day.files, day.bytes) == (70, 9_000)
    assert (day.exposed_files, day.exposed_bytes, day.exposed_since) == (3, 500, night(-4))


def test_what_was_not_seen_of_a_dataset_has_no_figure(ledger: Ledger) -> None:
    answered(ledger, 1, (COPIES, UNVERIFIED))
    (day,) = back(ledger, 0, 9).datasets
    assert (day.files, day.bytes, day.exposed_files, day.exposed_bytes, day.exposed_since) == (None,) * 5


def test_a_volume_is_told_of_with_its_room(ledger: Ledger) -> None:
    recorded(ledger, 1, answers=(a_box_answer(at=night(1), capacity=8_000, free=100),))
    recorded(ledger, 2, answers=(a_box_answer(at=night(2)),))
    room = [(day.at, str(day.volume), day.capacity, day.free) for day in back(ledger, 0, 9).volumes]
    assert room == [(night(1), "kestrel:main", 8_000, 100), (night(2), "kestrel:main", None, None)]


def test_the_room_of_what_lay_at_a_volumes_place_in_its_stead_is_not_told_of(ledger: Ledger) -> None:
    checks = (PinState.AS_PINNED, PinState.CHANGED, PinState.ASKED)
    for number, state in enumerate(checks, 1):
        check = IdentityCheck(volume=KESTREL, state=state)
        shown = a_box_answer(at=night(number), capacity=number, free=number)
        recorded(ledger, number, judged=replace(a_judged(night(number)), identities=(check,)), answers=(shown,))
    assert [(day.at, day.capacity) for day in back(ledger, 0, 9).volumes] == [(night(1), 1)]


def test_what_was_seen_of_a_part_or_on_another_volume_is_not_an_originals_size(ledger: Ledger) -> None:
    whole = a_dataset("tapes", ())
    evidence = whole.original.evidence
    tree = a_manifest(address("kestrel", "tapes"), 70, 9_000)
    part = PartialManifest(file=tree.file, origin=tree.origin, census=tree.census, blind=())
    other = replace(evidence.place, identity=IdentityCheck(volume=KESTREL, state=PinState.CHANGED))
    seen = [replace(evidence, tree=tree), replace(evidence, tree=part), replace(evidence, tree=tree, place=other)]
    for number, one in enumerate(seen, 1):
        dataset = replace(whole, original=replace(whole.original, evidence=one))
        recorded(ledger, number, judged=replace(a_judged(night(number)), datasets=(dataset,)))
    assert [(day.files, day.bytes) for day in back(ledger, 0, 9).datasets] == [(70, 9_000), (None, None), (None, None)]


def test_of_several_audits_on_one_date_the_last_that_saw_a_dataset_counts_for_trends(ledger: Ledger) -> None:
    late = night(1) + 19 * HOUR  # 23:10 in Dublin in November
    recorded(ledger, 1, judged=a_judged(night(1), {"tapes": [a_finding("copies:tapes")], "field-recordings": []}))
    recorded(ledger, 1, judged=a_judged(late, {"tapes": []}, whole=False))
    recorded(ledger, 1, judged=a_judged(late + 2 * HOUR, {"tapes": [a_finding("copies:tapes")]}, whole=False))
    seen = ledger.past.look_back(night(0), night(9), daily=DUBLIN).datasets
    assert [(day.dataset, day.at) for day in seen] == [
        (RECORDINGS, night(1)),
        (TAPES, late),
        (TAPES, late + 2 * HOUR),
    ]
    assert len(back(ledger, 0, 9).datasets) == 4


def test_a_renamed_dataset_and_a_renamed_device_are_told_of_by_their_present_names(ledger: Ledger) -> None:
    lineage = Lineage(datasets=((TAPES, RECORDINGS),), devices=((DeviceId("bittern"), DeviceId("kestrel")),))
    recorded(ledger, 1, judged=a_judged(night(1), {"field-recordings": []}), answers=(a_box_answer(at=night(1)),))
    now = a_box_answer(VolumeKey(device=DeviceId("bittern"), volume=VolumeId("main")), night(2))
    recorded(ledger, 2, judged=a_judged(night(2), {"tapes": []}), answers=(now,), lineage=lineage)
    seen = back(ledger, 0, 9, lineage)
    assert [day.dataset for day in seen.datasets] == [TAPES, TAPES]
    assert [str(day.volume) for day in seen.volumes] == ["bittern:main", "bittern:main"]


def test_where_an_audit_judged_a_dataset_under_both_names_the_present_one_counts(ledger: Ledger) -> None:
    lineage = Lineage(datasets=((TAPES, RECORDINGS),))
    both: Mapping[str, list[object]] = {"tapes": [a_finding("copies:tapes", HOLDS)], "field-recordings": [a_finding()]}
    recorded(ledger, 1, judged=a_judged(night(1), both))  # type: ignore[arg-type]  # findings
    (day,) = back(ledger, 0, 9, lineage).datasets
    assert (day.dataset, day.conclusion) == (TAPES, Conclusion.CONFORMING)


def test_incidents_are_those_that_were_open_at_any_moment_of_the_span(ledger: Ledger) -> None:
    course = {"a": (1, 2), "b": (1, 4), "c": (3, 4), "d": (3, 7), "e": (6, 7), "f": (3, None), "g": (6, None)}
    for number in range(8):
        found = [
            (f"copies:{name}", FAILS if begun <= number < (99 if ended is None else ended) else HOLDS)
            for name, (begun, ended) in course.items()
        ]
        answered(ledger, number, *found)
    seen = [told(incident)[:3] for incident in back(ledger, 2, 5).incidents]
    assert seen == [("copies:b", 1, 4), ("copies:c", 3, 4), ("copies:d", 3, 7), ("copies:f", 3, None)]


def test_an_incident_tells_its_worst_answer_and_what_was_said_then(ledger: Ledger) -> None:
    for number, answer in enumerate([UNVERIFIED, FAILS, UNVERIFIED, HOLDS]):
        answered(ledger, number, (COPIES, answer))
    (incident,) = back(ledger, 0, 9).incidents
    assert told(incident) == (COPIES, 0, 3, FAILS)
    assert (incident.finding.message, incident.finding.answer) == ("night 1", FAILS)
    assert (incident.ended_as, incident.recovered, incident.dataset) == (HOLDS, True, RECORDINGS)


def test_an_incident_that_lasts_is_told_as_it_stands_with_its_worst_answer(ledger: Ledger) -> None:
    for number, answer in enumerate([FAILS, UNVERIFIED, UNVERIFIED]):
        answered(ledger, number, (COPIES, answer))
    (incident,) = back(ledger, 0, 9).incidents
    assert told(incident) == (COPIES, 0, None, FAILS)
    assert (incident.finding.message, incident.finding.answer) == ("night 2", UNVERIFIED)
    assert not incident.recovered


def test_a_finding_that_comes_back_is_another_incident(ledger: Ledger) -> None:
    for number, answer in enumerate([FAILS, HOLDS, UNVERIFIED, HOLDS, FAILS]):
        answered(ledger, number, (COPIES, answer))
    seen = [told(incident) for incident in back(ledger, 0, 9).incidents]
    assert seen == [(COPIES, 0, 1, FAILS), (COPIES, 2, 3, UNVERIFIED), (COPIES, 4, None, FAILS)]


def test_what_was_waived_or_left_the_estate_ended_without_recovering(ledger: Ledger) -> None:
    answered(ledger, 1, (COPIES, FAILS), ("copies:tapes", FAILS))
    answered(ledger, 2, (COPIES, Answer.WAIVED))
    seen = {incident.finding.id: incident for incident in back(ledger, 0, 9).incidents}
    assert {name: one.ended_as for name, one in seen.items()} == {COPIES: Answer.WAIVED, "copies:tapes": None}
    assert {one.ended for one in seen.values()} == {night(2)}
    assert not any(one.recovered for one in seen.values())


def test_an_incident_goes_on_over_a_rename_under_the_present_name(ledger: Ledger) -> None:
    lineage = Lineage(datasets=((TAPES, RECORDINGS),))
    answered(ledger, 1, (COPIES, FAILS))
    answered(ledger, 3, ("copies:tapes", UNVERIFIED), lineage=lineage)
    answered(ledger, 4, ("copies:tapes", HOLDS), lineage=lineage)
    (incident,) = back(ledger, 0, 9, lineage).incidents
    assert told(incident) == ("copies:tapes", 1, 4, FAILS)
    assert incident.dataset == TAPES


def test_an_incident_that_ended_by_a_clock_set_back_did_not_end_before_it_began(ledger: Ledger) -> None:
    answered(ledger, 5, (COPIES, FAILS))
    answered(ledger, 3, (COPIES, HOLDS))
    (incident,) = back(ledger, 0, 9).incidents
    assert told(incident) == (COPIES, 5, 5, FAILS)


def test_what_changed_in_the_estate_is_told_for_the_span_alone(ledger: Ledger) -> None:
    for number in range(4):
        change = EstateChange(kind=ChangeKind.CAME, part="dataset", name=f"d{number}")
        recorded(ledger, number, changes=(change,))
    seen = back(ledger, 0, 2).events
    assert [(event.at, event.change.name) for event in seen] == [(night(1), "d1"), (night(2), "d2")]


def test_nights_are_told_of_with_what_was_missed(ledger: Ledger) -> None:
    row = {"night": "2026-11-02", "started": night(1), "finished": night(1) + HOUR, "outcome": "failed"}
    row |= {"detail": "the disk is full", "missed": 2, "missed_since": "2026-10-31"}
    begun = {"night": "2026-11-03", "started": night(2), "missed": 0}
    with ledger.past._writing() as connection:
        connection.execute(insert(NIGHTS).values(**row))
        connection.execute(insert(NIGHTS).values(**begun))
    assert back(ledger, 0, 9).nights == (
        NightRecord(
            night=date(2026, 11, 2),
            started=night(1),
            finished=night(1) + HOUR,
            outcome=NightOutcome.FAILED,
            detail="the disk is full",
            missed=2,
            missed_since=date(2026, 10, 31),
        ),
        NightRecord(night=date(2026, 11, 3), started=night(2)),
    )
    assert len(back(ledger, 1, 9).nights) == 1


def test_what_was_recorded_of_no_dataset_is_an_audit_all_the_same(ledger: Ledger) -> None:
    ledger.record(AuditRecord(judged=a_judged(night(1)), estate_text=ESTATE_TEXT))
    seen = back(ledger, 0, 9)
    assert len(seen.audits) == 1
    assert seen.datasets == ()
