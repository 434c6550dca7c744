from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select, text

from coverage_audit.errors import LedgerError
from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import Address, DeviceId, VolumeKey
from coverage_audit.evidence.collected import Answer, SeenPoints
from coverage_audit.evidence.facts import (
    Gap,
    GapKind,
    IdentityCheck,
    PinnedFact,
    PinState,
    PointList,
    RecoveryPoint,
)
from coverage_audit.evidence.points_past import begun_with
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.tables import AUDITS, ESTATE_TEXTS, GAPS, VOLUME_FACTS
from tests.builders.nights import one_night, recorded
from tests.builders.recorded import (
    COPY,
    HERON,
    KESTREL,
    RECORDINGS,
    a_box_answer,
    a_finding,
    a_judged,
    night,
)

DATED = Address(volume=HERON, path=".points/{point}/recordings")
BITTERN = DeviceId("bittern")
RENAMED = Lineage(devices=((HERON.device, BITTERN),))
UUID = PinnedFact(name="filesystem_uuid", value="6c2e")


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
    before = ledger.earlier(RECORDINGS, COPY, RENAMED)
    assert before is not None
    assert ledger.earlier(RECORDINGS, COPY) is None
    one_night(ledger, 2)
    after = ledger.earlier(RECORDINGS, COPY, RENAMED)
    assert after is not None
    assert after.first_at == before.first_at == night(1)


def test_the_capacity_of_every_audit_is_kept(ledger: Ledger) -> None:
    for number in range(3):
        recorded(ledger, number, answers=(a_box_answer(at=night(number), capacity=100, free=90 - number),))
    with ledger._reading() as connection:
        rows = connection.execute(select(VOLUME_FACTS.c.at, VOLUME_FACTS.c.free).order_by(VOLUME_FACTS.c.at)).all()
    assert [tuple(row) for row in rows] == [(night(number), 90 - number) for number in range(3)]


def test_recovery_points_are_kept_as_last_seen(ledger: Ledger) -> None:
    lists = [of_nights(number, *range(number + 1)) for number in range(2)]
    for number, points in enumerate(lists):
        recorded(ledger, number, answers=(listing(points),))
    assert ledger.last_points(DATED) == lists[1]
    assert ledger.last_points(COPY) is None


def test_the_past_of_points_that_an_earlier_version_recorded_begins_with_the_list_that_is_there(ledger: Ledger) -> None:
    points = of_nights(5, 2, 3)
    recorded(ledger, 5, answers=(listing(points),))
    assert ledger.points_before(DATED) == (points, begun_with(points))
    assert ledger.points_before(COPY) is None


def test_points_of_a_volume_that_is_another_one_do_not_take_the_place_of_those_last_seen(ledger: Ledger) -> None:
    recorded(ledger, 0, answers=(listing(of_nights(0, 0)),))
    changed = IdentityCheck(volume=HERON, state=PinState.CHANGED, differences=("another filesystem",))
    recorded(ledger, 1, judged=replace(a_judged(night(1)), identities=(changed,)), answers=(listing(of_nights(1, 1)),))
    assert ledger.last_points(DATED) == of_nights(0, 0)


def of_nights(at: int, *numbers: int) -> PointList:
    points = tuple(RecoveryPoint(name=f"p{n}", earliest=night(n), latest=night(n)) for n in numbers)
    return PointList(address=DATED, at=night(at), points=points, refused=(("lost+found", "no date"),))


def listing(points: PointList) -> Answer:
    return replace(a_box_answer(HERON), points=(SeenPoints(address=DATED, outcome=points),))


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
