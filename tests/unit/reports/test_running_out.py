"""What is due by a date."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from coverage_audit.estate.criteria import Keep
from coverage_audit.estate.model import Estate
from coverage_audit.judgement.verdict import Acceptance, Answer, JudgedEstate
from coverage_audit.reports.ages import age_in_years, life_ends
from coverage_audit.reports.running_out import Due, due_next
from tests.builders.cases import judged_dataset
from tests.builders.dated import asked, kept, nights, remembering
from tests.builders.judged import NOW, a_copy, a_dataset, a_finding, address, an_estate, judged

DAY = timedelta(days=1)


def on_shelf(name: str, age: timedelta | None, max_age: timedelta | None = 35 * DAY) -> JudgedEstate:
    copy = a_copy(an_estate(), address("shelf-b", name), age=age, max_age=max_age)
    seen = None if age is None else NOW - age
    return judged((a_dataset(name, (replace(copy, evidence=replace(copy.evidence, tree_at=seen)),)),))


def due(whole: JudgedEstate, *, in_service: date | None = None) -> tuple[Due, ...]:
    return due_next(whole, aged(an_estate(whole.datasets), in_service), NOW)


def aged(estate: Estate, in_service: date | None) -> Estate:
    return replace(estate, devices=tuple(replace(one, in_service=in_service) for one in estate.devices))


def test_a_shelf_drive_is_due_when_its_first_copy_is_older_than_it_may_be() -> None:
    (found,) = due(on_shelf("maps", 19 * DAY))
    assert (found.by, found.day, found.within, found.over) == (
        date(2026, 12, 11),
        "Fri 2026-12-11",
        "in 16 days",
        False,
    )
    assert found.what == "Plug in shelf-b"
    assert found.why == "its copy of maps is older than its `max_age` after that day"


def test_of_several_copies_on_a_drive_the_first_to_age_decides() -> None:
    one, other = on_shelf("maps", 19 * DAY), on_shelf("letters", 30 * DAY)
    (found,) = due(judged((*one.datasets, *other.datasets)))
    assert (found.by, "letters" in found.why, "maps" in found.why) == (date(2026, 11, 30), True, False)


def test_the_policys_age_holds_where_the_copy_has_none() -> None:
    (found,) = due(on_shelf("maps", timedelta(hours=2), max_age=None))
    assert found.by == date(2026, 11, 26)


def test_a_drive_that_is_overdue_says_since_when() -> None:
    (found,) = due(on_shelf("maps", 40 * DAY))
    assert (found.over, found.within) == (True, "5 days ago")


def test_a_drive_that_was_never_seen_is_due_now() -> None:
    (found,) = due(on_shelf("maps", None))
    assert (found.by, found.day, found.over) == (None, "now", True)
    assert found.why == "no copy of maps is proven on it yet"


@pytest.mark.parametrize(("left", "said"), [(59, 1), (61, 0)])
def test_a_waiver_is_named_before_it_ends(left: int, said: int) -> None:
    acceptance = Acceptance(
        who="R. Byrne", why="ordered", given=NOW, until=NOW + left * DAY, answer=Answer.NONCONFORMITY
    )
    finding = replace(a_finding("offline", "maps", Answer.WAIVED), acceptance=acceptance)
    dataset = a_dataset("maps", (), findings=(finding,))
    found = due(judged((dataset,)))
    assert len(found) == said
    assert all(one.what == "The waiver of offline:maps ends" for one in found)
    assert len(due(judged((replace(dataset, findings=()),), findings=(finding,)))) == said


def test_what_is_old_comes_after_what_is_to_be_done() -> None:
    found = due(on_shelf("maps", 19 * DAY), in_service=date(2019, 3, 2))
    assert found[0].what == "Plug in shelf-b"
    assert "kestrel is past its usual service life" in [one.what for one in found[1:]]
    assert {one.within for one in found[1:]} == {"2 years ago"}


@pytest.mark.parametrize(
    ("in_service", "said"),
    [
        (None, []),
        (date(2024, 1, 1), []),
        (date(2022, 3, 1), []),
        (date(2022, 1, 1), ["reaches"]),
        (date(2021, 11, 25), ["is past"]),
    ],
)
def test_hardware_is_named_from_three_months_before(in_service: date | None, said: list[str]) -> None:
    found = due(judged((a_dataset("maps", ()),)), in_service=in_service)
    assert sorted({one.what.split(" ", 1)[1].removesuffix(" its usual service life") for one in found}) == said


def test_an_age_is_counted_as_people_count() -> None:
    assert age_in_years(date(2019, 3, 2), date(2026, 11, 25)) == "7 years 8 months"
    assert age_in_years(date(2019, 3, 2), date(2020, 3, 1)) == "11 months"
    assert age_in_years(date(2019, 3, 2), date(2020, 3, 2)) == "1 year"
    assert age_in_years(date(2019, 3, 2), date(2019, 3, 20)) == "under a month"
    assert age_in_years(date(2027, 1, 1), date(2026, 3, 20)) == "none yet: its service begins on 2027-01-01"
    assert life_ends(date(2020, 2, 29)) == date(2025, 3, 1)


def test_the_last_state_of_a_month_that_is_deleted_soon_is_due() -> None:
    lists = [(age, (*nights(*range(age, age + 3)), *nights(28 + age))) for age in range(3, 0, -1)]
    case = asked(remembering(kept((*nights(28), *nights(0, 1, 2))), *lists), keep=Keep(monthly=2))
    dataset = judged_dataset(case)
    (going,) = dataset.going
    assert [str(slot) for slot in going.lost] == ["2026-10"]

    (found,) = [one for one in due(judged((dataset,))) if " loses " in one.what]
    assert "“2026-10-28” on heron:pool/.points/{point}/recordings" in found.what
    assert "all that is held of 2026-10" in found.why
    assert found.by == going.at.date()


def test_a_state_that_another_point_holds_too_is_not_due_when_it_is_deleted() -> None:
    lists = [(age, nights(*range(age, age + 15))) for age in range(5, 0, -1)]
    dataset = judged_dataset(asked(remembering(kept(nights(*range(15))), *lists), keep=Keep(daily=7)))
    assert dataset.going
    assert not [one for one in due(judged((dataset,))) if " loses " in one.what]
