from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select, text

from coverage_audit.errors import LedgerError
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.collected import SeenPoints
from coverage_audit.evidence.difference import TakeUp
from coverage_audit.evidence.facts import Gap, GapKind, PinnedFact, PointList, RecoveryPoint
from coverage_audit.judgement.verdict import Answer, Conclusion
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import AuditRecord, Compared, Recorded, SeenManifest, TransitionKind
from coverage_audit.ledger.tables import AUDITS, ESTATE_TEXTS, GAPS, MANIFESTS, VOLUME_FACTS
from tests.builders.kept import a_compared, a_seen_manifest, a_staged_file
from tests.builders.manifests import SEED, a_manifest, a_row
from tests.builders.recorded import (
    COPY,
    ESTATE_TEXT,
    HERON,
    KESTREL,
    ORIGINAL,
    RECORDINGS,
    a_box_answer,
    a_finding,
    a_judged,
    night,
)

BITTERN = DeviceId("bittern")
UUID = PinnedFact(name="filesystem_uuid", value="6c2e")


def recorded(ledger: Ledger, number: int = 0, **parts: object) -> Recorded:
    """Record an audit of the nth night."""
    record = AuditRecord(judged=a_judged(night(number)), estate_text=ESTATE_TEXT)
    return ledger.record(replace(record, **parts))  # type: ignore[arg-type]  # the parts are a record's own


def one_night(
    ledger: Ledger, number: int, *, original: SeenManifest | None = None, copy: Address = COPY, progress: int = 0
) -> Compared:
    """Record a night on which the original was listed (or the one given stands for it) and compared with the copy."""
    staging = ledger.staging(night(number))
    seen = original or a_seen_manifest(staging, night(number) + timedelta(minutes=1))
    held = a_seen_manifest(staging, night(number) + timedelta(minutes=2), copy)
    compared = a_compared(
        seen.manifest.file,
        held.manifest.file,
        a_staged_file(staging, b"differences"),
        night(number),
        copy_address=copy,
        take_up=TakeUp(last_progress=night(progress), gone_unheld=3, pending_since=night(1)),
    )
    recorded(ledger, number, manifests=(seen, held) if original is None else (held,), comparisons=(compared,))
    return compared


def test_a_finding_keeps_its_beginning_over_audits_and_over_closing(
    ledger: Ledger, reopen: Callable[[], Ledger]
) -> None:
    for number, answer in enumerate([Answer.UNVERIFIED, Answer.NONCONFORMITY, Answer.UNVERIFIED]):
        recorded(ledger, judged=a_judged(night(number), {"field-recordings": [a_finding(answer=answer)]}))
    with reopen() as again:
        stored = again.last_finding("copies:field-recordings")
        assert stored is not None
        assert stored.since == night(0) == again.since("copies:field-recordings")
        assert again.open_since() == {"copies:field-recordings": night(0)}
        assert stored.at == night(2)
        assert stored.conclusion is Conclusion.UNVERIFIED
        assert stored.finding == a_finding(answer=Answer.UNVERIFIED)


def test_a_finding_that_left_the_estate_ends_and_is_still_found(ledger: Ledger) -> None:
    recorded(ledger, judged=a_judged(night(0), {"field-recordings": [a_finding()]}))
    (change,) = recorded(ledger, judged=a_judged(night(1))).transitions
    assert (change.kind, change.answer, change.since) == (TransitionKind.ENDED, None, night(0))
    assert not change.recovered
    stored = ledger.last_finding("copies:field-recordings")
    assert stored is not None
    assert (stored.current, stored.since, stored.at) == (False, None, night(0))
    assert ledger.finding_ids() == ("copies:field-recordings",)


def test_a_finding_that_was_never_answered_is_none(ledger: Ledger) -> None:
    assert ledger.last_finding("copies:nothing") is None
    assert ledger.since("copies:nothing") is None


def test_an_audit_of_some_datasets_touches_only_these(ledger: Ledger) -> None:
    both = {"field-recordings": [a_finding()], "herbarium-scans": [a_finding("copies:herbarium-scans")]}
    recorded(ledger, judged=a_judged(night(0), both, estate_findings=[a_finding("clock:estate")]))
    some = a_judged(night(1), {"field-recordings": []}, whole=False)
    done = recorded(ledger, judged=some)
    assert [change.finding.id for change in done.transitions] == ["copies:field-recordings"]
    assert ledger.open_since() == {"clock:estate": night(0), "copies:herbarium-scans": night(0)}


def test_an_id_answered_twice_in_one_audit_stands_for_the_worse(ledger: Ledger) -> None:
    twice = {
        "field-recordings": [a_finding("mount:heron:pool", Answer.UNVERIFIED)],
        "survey-sheets": [a_finding("mount:heron:pool", Answer.NONCONFORMITY)],
        "camera-trap": [a_finding("mount:heron:pool", Answer.CONFORMITY)],
    }
    (change,) = recorded(ledger, judged=a_judged(night(0), twice)).transitions
    assert change.answer is Answer.NONCONFORMITY


def test_names_that_no_database_takes_are_recorded_all_the_same(ledger: Ledger) -> None:
    name = "age:heron:pool/\udcff\x00\ud800\n'; drop table audits"
    judged = a_judged(night(0), {"x\udcfe\x00": [a_finding(name, message="\udcff\x00")]})
    for number in range(2):
        recorded(ledger, judged=replace(judged, started=night(number)))
    stored = ledger.last_finding(name)
    assert stored is not None
    assert stored.finding.id == name
    assert stored.since == night(0)
    assert len(ledger.finding_ids()) == 1


def test_what_a_device_showed_comes_back_as_it_was(ledger: Ledger) -> None:
    answer = a_box_answer(capacity=8 * 10**12, free=10**12)
    recorded(ledger, answers=(answer,))
    later = a_box_answer(at=night(1))
    gone = replace(later, facts=Gap(subject="kestrel", kind=GapKind.UNREACHABLE, detail="", at=night(1)), volumes=())
    recorded(ledger, 1, answers=(gone,))
    assert ledger.last_answer_facts(KESTREL.device) == (answer.facts, answer.volumes)
    assert ledger.last_answer_facts(HERON.device) is None


def test_the_history_of_a_former_name_goes_on_under_the_new_one(ledger: Ledger) -> None:
    bittern = VolumeKey(device=BITTERN, volume=HERON.volume)
    recorded(ledger, answers=(a_box_answer(bittern),), pins=((bittern, (UUID,)),))
    one_night(ledger, 1, copy=Address(volume=bittern, path=COPY.path))
    shown = ledger.last_answer_facts(HERON.device, (BITTERN,))
    assert shown is not None
    assert (shown[0].device, shown[1][0].volume) == (HERON.device, HERON)
    assert ledger.pins(HERON, (BITTERN,)) == (UUID,)
    assert ledger.pins(HERON) is None
    before = ledger.earlier(RECORDINGS, COPY, (BITTERN,))
    assert before is not None
    assert ledger.earlier(RECORDINGS, COPY) is None
    one_night(ledger, 2)
    after = ledger.earlier(RECORDINGS, COPY, (BITTERN,))
    assert after is not None
    assert after.first_at == before.first_at == night(1)


def test_the_capacity_of_every_audit_is_kept(ledger: Ledger) -> None:
    for number in range(3):
        recorded(ledger, number, answers=(a_box_answer(at=night(number), capacity=100, free=90 - number),))
    with ledger._reading() as connection:
        rows = connection.execute(select(VOLUME_FACTS.c.at, VOLUME_FACTS.c.free).order_by(VOLUME_FACTS.c.at)).all()
    assert [tuple(row) for row in rows] == [(night(number), 90 - number) for number in range(3)]


def test_recovery_points_are_kept_as_last_seen(ledger: Ledger) -> None:
    address = Address(volume=HERON, path=".points/{point}/recordings")
    lists = [
        PointList(
            address=address,
            at=night(number),
            points=tuple(RecoveryPoint(name=f"p{n}", earliest=night(n), latest=night(n)) for n in range(number + 1)),
            refused=(("lost+found", "no date"),),
        )
        for number in range(2)
    ]
    for number, points in enumerate(lists):
        answer = replace(a_box_answer(HERON), points=(SeenPoints(address=address, outcome=points),))
        recorded(ledger, number, answers=(answer,))
    assert ledger.last_points(address) == lists[1]
    assert ledger.last_points(COPY) is None


def test_gaps_are_kept_with_their_reason(ledger: Ledger) -> None:
    gap = Gap(subject="heron", kind=GapKind.HOST_KEY, detail="another key", at=night(0))
    recorded(ledger, judged=replace(a_judged(), gaps=(gap,)))
    with ledger._reading() as connection:
        (row,) = connection.execute(select(GAPS)).all()
    assert (row.subject, row.kind, row.at) == ("heron", "host key", night(0))


def test_a_pin_is_set_once_and_changed_only_by_accepting(ledger: Ledger) -> None:
    other = PinnedFact(name="filesystem_uuid", value="another")
    assert ledger.pins(HERON) is None
    recorded(ledger, 0, pins=((HERON, (UUID,)),))
    recorded(ledger, 1, pins=((HERON, (other,)),))
    assert ledger.pins(HERON) == (UUID,)
    ledger.accept(HERON, [other], night(2), "the owner")
    assert ledger.pins(HERON) == (other,)
    with ledger._reading() as connection:
        rows = connection.execute(text("select who, replaced from pins order by id")).all()
    assert [row.who for row in rows] == ["first seen", "the owner"]
    assert rows[0].replaced is not None
    assert rows[1].replaced is None


def test_an_estate_text_is_stored_once_and_every_audit_refers_to_it(ledger: Ledger) -> None:
    for number, said in enumerate(["estate: a\n", "estate: a\n", "estate: b\n"]):
        recorded(ledger, number, estate_text=said)
    with ledger._reading() as connection:
        texts = {row.digest: row.text for row in connection.execute(select(ESTATE_TEXTS))}
        judged = [texts[digest] for digest in connection.scalars(select(AUDITS.c.estate_text).order_by(AUDITS.c.id))]
    assert len(texts) == 2
    assert judged == ["estate: a\n", "estate: a\n", "estate: b\n"]


def test_the_last_comparison_comes_back_with_what_it_rested_on(ledger: Ledger, state: Path) -> None:
    assert ledger.earlier(RECORDINGS, COPY) is None
    one_night(ledger, 1, progress=1)
    one_night(ledger, 2, progress=1)
    recorded(ledger, 3, manifests=(a_seen_manifest(ledger.staging(night(3)), night(3)),))
    known = ledger.earlier(RECORDINGS, COPY)
    assert known is not None
    assert known.at == night(2) + timedelta(minutes=1)  # its original's listing began after the audit
    assert known.first_at == night(1)
    assert known.take_up == TakeUp(last_progress=night(1), gone_unheld=3, pending_since=night(1))
    started = [at for at, _ in known.originals]
    assert started == [night(1) + timedelta(minutes=1), night(2) + timedelta(minutes=1), night(3)]
    assert known.relation is not None
    assert known.relation.read_bytes() == b"differences"
    assert known.copy_manifest is not None
    assert known.copy_manifest.parent == state / "manifests"
    assert not list((state / "staging").glob("*/*.parquet"))


def test_partial_or_untrusted_listings_of_the_original_are_no_ground_to_stand_on(ledger: Ledger) -> None:
    one_night(ledger, 1)
    staging = ledger.staging(night(2))
    partial = a_seen_manifest(staging, night(2), complete=False)
    untrusted = a_seen_manifest(staging, night(3), trusted=False)
    recorded(ledger, 2, manifests=(partial, untrusted))
    known = ledger.earlier(RECORDINGS, COPY)
    assert known is not None
    assert [at for at, _ in known.originals] == [night(1) + timedelta(minutes=1)]


def test_a_file_removed_by_hand_is_unknown_and_not_an_error(ledger: Ledger, state: Path) -> None:
    one_night(ledger, 1)
    for file in [*(state / "manifests").iterdir(), *(state / "relations").iterdir()]:
        file.unlink()
    known = ledger.earlier(RECORDINGS, COPY)
    assert known is not None
    assert (known.originals, known.copy_manifest, known.relation) == ((), None, None)


def test_an_original_seen_earlier_can_stand_for_tonights(ledger: Ledger, state: Path) -> None:
    first = one_night(ledger, 1)
    kept = next(file for file in (state / "manifests").iterdir() if "Z-0000-" in file.name)
    assert first.original_file != kept
    staging = ledger.staging(night(2))
    held = a_seen_manifest(staging, night(2), COPY)
    compared = a_compared(kept, held.manifest.file, a_staged_file(staging), night(2))
    recorded(ledger, 2, manifests=(held,), comparisons=(compared,))
    known = ledger.earlier(RECORDINGS, COPY)
    assert known is not None
    assert [file for _, file in known.originals] == [kept]
    assert known.at == night(2)


def test_a_comparison_on_files_that_are_not_recorded_records_nothing(ledger: Ledger, tmp_path: Path) -> None:
    staging = ledger.staging(night(1))
    seen = a_seen_manifest(staging, night(1))
    foreign = tmp_path / "elsewhere.parquet"
    foreign.write_bytes(b"rows")
    for original, relation in ((foreign, None), (seen.manifest.file, foreign), (seen.manifest.file, staging / "none")):
        compared = a_compared(original, None, relation, night(1))
        with pytest.raises(LedgerError):
            recorded(ledger, 1, manifests=(seen,), comparisons=(compared,))
        seen = a_seen_manifest(staging, night(1))
    with ledger._reading() as connection:
        assert connection.execute(select(AUDITS)).all() == []
        assert connection.execute(select(MANIFESTS)).all() == []


def test_an_instant_without_a_zone_is_refused_and_nothing_is_recorded(ledger: Ledger) -> None:
    naive = datetime(2026, 11, 1, 4, 10)  # noqa: DTZ001 - this is what must be refused
    with pytest.raises(LedgerError, match="without a zone"):
        recorded(ledger, judged=replace(a_judged(), finished=naive))
    assert ledger.finding_ids() == ()


def test_instants_come_back_in_utc_to_the_microsecond(ledger: Ledger) -> None:
    at = datetime(2026, 10, 25, 1, 30, 0, 123456, tzinfo=ZoneInfo("Europe/Dublin"), fold=1)
    recorded(ledger, judged=a_judged(at, {"field-recordings": [a_finding()]}))
    since = ledger.since("copies:field-recordings")
    assert since is not None
    assert (since, since.tzinfo) == (datetime(2026, 10, 25, 1, 30, 0, 123456, tzinfo=UTC), UTC)


def a_real_manifest(ledger: Ledger, number: int, address: Address, *, trusted: bool = True) -> SeenManifest:
    folder = ledger.staging(night(number))
    manifest = a_manifest(folder, [a_row(b"a")], seed=SEED, started=night(number), address=address)
    return SeenManifest(address=address, manifest=manifest, trusted=trusted)


def test_the_newest_manifest_of_a_trusted_volume_is_given_out(ledger: Ledger, state: Path) -> None:
    assert ledger.last_manifest(COPY) is None
    recorded(ledger, 1, manifests=(a_real_manifest(ledger, 1, COPY),))
    recorded(ledger, 2, manifests=(a_real_manifest(ledger, 2, COPY),))
    recorded(ledger, 3, manifests=(a_real_manifest(ledger, 3, COPY, trusted=False),))
    found = ledger.last_manifest(COPY)
    assert found is not None
    assert found.origin.started == night(2)
    found.file.write_bytes(b"cut")
    older = ledger.last_manifest(COPY)
    assert older is not None
    assert older.origin.started == night(1)
    for file in (state / "manifests").iterdir():
        file.unlink()
    assert ledger.last_manifest(COPY) is None


def test_a_night_with_a_clock_years_ahead_is_not_the_newest_for_years(ledger: Ledger) -> None:
    recorded(ledger, 1000, manifests=(a_real_manifest(ledger, 1000, COPY),))
    for number in range(1, 6):
        recorded(ledger, number, manifests=(a_real_manifest(ledger, number, COPY),))
        ledger.prune(night(number))
        found = ledger.last_manifest(COPY)
        assert found is not None
        assert found.origin.started == night(number)


def test_a_manifest_of_one_point_is_found_by_the_point_and_by_the_copy(ledger: Ledger) -> None:
    address = Address(volume=HERON, path=".points/{point}/recordings")
    point = address.at_point("2026-11-01")
    seen = a_real_manifest(ledger, 1, point)
    recorded(ledger, 1, manifests=(replace(seen, address=address),))
    for asked in (address, point):
        found = ledger.last_manifest(asked)
        assert found is not None
        assert found.origin.address == point
    assert ledger.last_manifest(address.at_point("2026-11-02")) is None


def test_another_volume_of_the_same_device_is_another_place(ledger: Ledger) -> None:
    recorded(ledger, 1, manifests=(a_real_manifest(ledger, 1, COPY),))
    other = VolumeKey(device=HERON.device, volume=VolumeId("scratch"))
    assert ledger.last_manifest(Address(volume=other, path=COPY.path)) is None
    assert ledger.last_manifest(ORIGINAL) is None


def test_what_a_killed_audit_left_is_swept_and_what_is_recorded_stays(
    ledger: Ledger, reopen: Callable[[], Ledger], state: Path
) -> None:
    one_night(ledger, 1)
    kept = {file.name for place in ("manifests", "relations") for file in (state / place).iterdir()}
    (state / "manifests" / "rubbish.parquet").write_bytes(b"half")
    (state / "relations" / "rubbish.parquet").write_bytes(b"half")
    (ledger.staging(night(2)) / "half.parquet.part").write_bytes(b"half")
    with reopen():
        assert {file.name for place in ("manifests", "relations") for file in (state / place).iterdir()} == kept
        assert list((state / "staging").iterdir()) == []
