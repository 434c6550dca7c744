from __future__ import annotations

import zlib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import func, select, text, update

from coverage_audit.estate.access import LocalAccess, ShelfAccess
from coverage_audit.estate.model import Copy, Medium, VolumeKey
from coverage_audit.estate.sources import BtrfsPoints, CommandPoints, DatedFiles, DatedFolders, ZfsPoints
from coverage_audit.evidence.facts import PointList
from coverage_audit.evidence.manifest import Blind, CompleteManifest, PartialManifest
from coverage_audit.judgement.verdict import Acceptance, Answer, JudgedEstate
from coverage_audit.ledger import judged_form
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import AuditRecord
from coverage_audit.ledger.tables import JUDGED_AUDITS
from tests.builders import cases
from tests.builders.judged import a_copy, a_dataset, a_finding, a_gap, a_manifest, a_sample, address, an_estate
from tests.builders.judged import judged as a_judged_estate
from tests.builders.judged_station import the_station
from tests.builders.noticed import failing_estate
from tests.builders.recorded import ESTATE_TEXT, a_judged, night
from tests.builders.station import HERON, KESTREL, changed

HERON_MIRROR = address("heron", "mirror")


def kept(judged: JudgedEstate) -> JudgedEstate:
    """Write a judged estate and read it back."""
    return judged_form.read(judged_form.written(judged))


def of_copy(copy: Copy) -> JudgedEstate:
    """An estate with one copy, declared like this."""
    judged = a_copy(an_estate(), HERON_MIRROR)
    return a_judged_estate((a_dataset("tapes", (replace(judged, evidence=replace(judged.evidence, copy=copy)),)),))


@pytest.mark.parametrize(
    "judged",
    [
        the_station()[0],
        the_station(rehearsal=True)[0],
        failing_estate(),
        a_judged(datasets={"tapes": []}),
        cases.judged(cases.a_case()),
        cases.judged(cases.a_case(cases.a_copy(HERON, Copy(address=HERON_MIRROR), comparison=cases.lacking(3, 50)))),
        cases.judged(cases.a_case(cases.a_dated_copy(HERON, cases.a_point("2026-11-24", night(-1))))),
    ],
    ids=["a station", "a rehearsal", "a failing estate", "nothing seen", "an original", "a mirror", "a dated copy"],
)
def test_what_was_judged_is_read_back_as_it_was(judged: JudgedEstate) -> None:
    assert kept(judged) == judged


@pytest.mark.parametrize(
    "points",
    [
        DatedFolders(),
        DatedFiles(),
        DatedFiles(pattern="%Y"),
        BtrfsPoints(),
        ZfsPoints(dataset="pool/x"),
        CommandPoints(arguments=("list", "points"), json="[].time"),
        None,
    ],
)
def test_ways_to_tell_of_points_that_look_alike_keep_their_kind(points: object) -> None:
    (dataset,) = kept(of_copy(Copy(address=HERON_MIRROR, points=points))).datasets  # type: ignore[arg-type]  # any
    read = dataset.copies[0].evidence.copy.points
    assert read == points
    assert type(read) is type(points)


@pytest.mark.parametrize("access", [LocalAccess(), ShelfAccess()])
def test_ways_of_access_that_hold_nothing_keep_their_kind(access: LocalAccess | ShelfAccess) -> None:
    device = changed(KESTREL, access=access, in_service=date(2019, 3, 2), time_zone=ZoneInfo("Asia/Kathmandu"))
    place = cases.a_place(device)
    dataset = a_dataset("tapes", ())
    original = replace(dataset.original, evidence=replace(dataset.original.evidence, place=place))
    judged = a_judged_estate((replace(dataset, original=original),))
    read = kept(judged).datasets[0].original.evidence.place.device
    assert type(read.access) is type(access)
    assert read == device


@pytest.mark.parametrize("blind", [(), (Blind(path=b"locked\xff", why="Permission denied"),)])
def test_a_partial_tree_is_never_read_back_as_a_complete_one(blind: tuple[Blind, ...]) -> None:
    whole = a_manifest(address("kestrel", "tapes"))
    part = PartialManifest(file=Path("m\udcff.parquet"), origin=whole.origin, census=whole.census, blind=blind)
    dataset = a_dataset("tapes", ())
    for tree in (whole, part):
        evidence = replace(dataset.original.evidence, tree=tree, as_of=whole)
        judged = a_judged_estate((replace(dataset, original=replace(dataset.original, evidence=evidence)),))
        read = kept(judged).datasets[0].original.evidence
        assert read == evidence
        assert type(read.tree) is type(tree)
        assert type(read.as_of) is CompleteManifest


def test_gaps_stay_gaps_and_lists_of_points_stay_lists() -> None:
    estate = an_estate()
    seen = PointList(address=HERON_MIRROR, at=night(0), points=(cases.a_point("x", night(0)),), refused=(("a", "b"),))
    for points in (a_gap(), seen, None):
        copy = a_copy(estate, HERON_MIRROR, gap=a_gap())
        copy = replace(copy, evidence=replace(copy.evidence, points=points))
        assert kept(a_judged_estate((a_dataset("tapes", (copy,)),))).datasets[0].copies[0] == copy


def test_hostile_names_and_odd_times_are_read_back_byte_for_byte() -> None:
    words = "\udcff\0\u202e<script>\n"
    until = datetime(2027, 1, 1, 0, 0, 0, 1, tzinfo=UTC)
    waiver = Acceptance(who=words, why="", given=night(0), until=until, answer=Answer.NONCONFORMITY)
    finding = replace(a_finding("age", words, message=words), degree=0.1, acceptance=waiver)
    copy = a_copy(an_estate(), HERON_MIRROR, max_age=timedelta(days=-1, microseconds=7))
    dataset = a_dataset(words, (copy,), findings=(finding,))
    sample = a_sample(bytes(range(256)))
    exposure = replace(dataset.exposure, samples=(sample,), since=until)  # type: ignore[type-var]  # there is one
    judged = a_judged_estate((replace(dataset, exposure=exposure),))
    assert kept(judged) == judged


def test_the_newest_audit_of_all_datasets_is_what_the_ledger_remembers(ledger: Ledger) -> None:
    assert ledger.past.last_judged() is None
    assert ledger.past.judged() is None
    judged, _, _ = the_station()
    for number in range(3):
        one = replace(judged, started=night(number), finished=night(number) + timedelta(minutes=7))
        ledger.record(AuditRecord(judged=one, estate_text=f"estate of night {number}"))
    some = a_judged(night(3), datasets={"tapes": []}, whole=False)
    ledger.record(AuditRecord(judged=some, estate_text=ESTATE_TEXT))
    last = ledger.past.last_judged()
    assert last is not None
    assert (last.started, last.estate_text, last.why) == (night(2), "estate of night 2", "")
    assert last.judged == replace(judged, started=night(2), finished=night(2) + timedelta(minutes=7))
    assert last.judged == ledger.past.judged()


def test_only_one_audit_is_kept_as_it_was_judged(ledger: Ledger) -> None:
    for number in range(3):
        ledger.record(AuditRecord(judged=a_judged(night(number)), estate_text=ESTATE_TEXT))
    with ledger.past._reading() as connection:
        assert connection.scalar(select(func.count()).select_from(JUDGED_AUDITS)) == 1


def test_what_another_version_judged_is_said_to_be_and_not_guessed(ledger: Ledger) -> None:
    ledger.record(AuditRecord(judged=a_judged(night(1)), estate_text=ESTATE_TEXT))
    with ledger.past._writing() as connection:
        connection.execute(update(JUDGED_AUDITS).values(shape="another"))
    last = ledger.past.last_judged()
    assert last is not None
    assert (last.judged, last.started) == (None, night(1))
    assert "another version" in last.why


def test_an_audit_of_before_this_was_kept_is_remembered_without_what_it_judged(ledger: Ledger) -> None:
    ledger.record(AuditRecord(judged=a_judged(night(1)), estate_text=ESTATE_TEXT))
    with ledger.past._writing() as connection:
        connection.execute(text("delete from judged_audits"))
    last = ledger.past.last_judged()
    assert last is not None
    assert last.judged is None
    assert "no more than its figures" in last.why


@pytest.mark.parametrize("body", [b"", b"x", zlib.compress(b"{}"), zlib.compress(b"[1, 2]"), zlib.compress(b"{")])
def test_what_was_damaged_is_said_to_be(ledger: Ledger, body: bytes) -> None:
    ledger.record(AuditRecord(judged=a_judged(night(1)), estate_text=ESTATE_TEXT))
    with ledger.past._writing() as connection:
        connection.execute(update(JUDGED_AUDITS).values(body=body))
    last = ledger.past.last_judged()
    assert last is not None
    assert last.judged is None
    assert "damaged" in last.why


def test_what_was_cut_anywhere_is_not_read() -> None:
    body = judged_form.written(the_station()[0])
    for end in range(0, len(body), 97):
        with pytest.raises(ValueError, match=r"."):
            judged_form.read(body[:end])


def test_a_value_that_cannot_be_kept_costs_no_audit(ledger: Ledger) -> None:
    odd = replace(a_judged(night(1)), waived=1 + 0j)  # type: ignore[arg-type]  # on purpose
    with pytest.raises(ValueError, match="complex"):
        judged_form.written(odd)
    changed_later = replace(a_judged(night(1)), findings=(replace(a_finding("age", "tapes"), degree=float("nan")),))
    ledger.record(AuditRecord(judged=changed_later, estate_text=ESTATE_TEXT))
    last = ledger.past.last_judged()
    assert last is not None
    assert last.judged is None
    assert last.why == "it could not be kept (it reads back otherwise)"


def test_a_key_that_is_not_known_is_refused() -> None:
    body = zlib.decompress(judged_form.written(a_judged(night(1))))
    more = zlib.compress(body.replace(b'{"estate":', b'{"new":1,"estate":', 1))
    with pytest.raises(ValueError, match="new"):
        judged_form.read(more)


def test_the_shape_knows_every_type_below_a_judged_estate() -> None:
    told = {one.__name__ for one in judged_form._reached(JudgedEstate, set())}
    assert {"PartialManifest", "ZfsPoints", "ShelfAccess", "Acceptance", "Sample", "Proof", "PinState"} <= told
    assert {Medium.__name__, Blind.__name__} <= told
    assert VolumeKey.__name__ in told
