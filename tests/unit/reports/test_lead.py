"""What a page says before its conclusion."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from coverage_audit.estate.changes import ChangeKind, Detail, EstateChange
from coverage_audit.estate.declared import Part
from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Conclusion, JudgedEstate
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from coverage_audit.reports.lead import lead
from coverage_audit.reports.present import as_declared_now
from tests.builders.judged import NOW, a_copy, a_dataset, address, an_estate, judged
from tests.builders.judged_station import the_station


def well() -> JudgedEstate:
    return judged(
        tuple(a_dataset(name, (a_copy(an_estate(), address("heron", name)),)) for name in ("maps", "letters"))
    )


@pytest.mark.parametrize(
    ("age", "said"),
    [
        (timedelta(hours=2), ()),
        (timedelta(hours=26), ()),
        (timedelta(hours=27), ("The last audit ended 27 h ago; nothing since is proven.",)),
        (timedelta(days=5, hours=3), ("The last audit ended 5 days ago; nothing since is proven.",)),
        (timedelta(minutes=-3), ()),
        (timedelta(days=-2), ("The last audit bears a time 2 days ahead: how old it is cannot be told.",)),
    ],
)
def test_an_audit_that_is_not_of_the_last_night_is_said_and_concludes_nothing(
    age: timedelta, said: tuple[str, ...]
) -> None:
    found = lead(as_declared_now(well(), an_estate(well().datasets)), NOW + age)
    assert found.caveats == said
    assert found.old is bool(said)
    assert found.conclusion is (Conclusion.UNVERIFIED if said else Conclusion.CONFORMING)


@pytest.mark.parametrize(
    ("begun", "outcome", "detail", "said"),
    [
        (1, None, "", "The night of 2026-11-27 has not ended: this is of the audit before it."),
        (
            1,
            None,
            "disk is full",
            "The night of 2026-11-27 has not ended (disk is full): this is of the audit before it.",
        ),
        (1, NightOutcome.FAILED, "x\n", r"The night of 2026-11-27 had no audit (x\n): this is of the audit before it."),
        (1, NightOutcome.BUSY, "", "The night of 2026-11-27 had no audit: this is of the audit before it."),
        (1, NightOutcome.AUDITED, "", None),
        (-1, None, "", None),
    ],
)
def test_a_night_after_the_audit_that_has_none_is_said_however_young_the_audit_is(
    begun: int, outcome: NightOutcome | None, detail: str, said: str | None
) -> None:
    started = well().finished + timedelta(minutes=begun)
    night = NightRecord(night=date(2026, 11, 27), started=started, outcome=outcome, detail=detail)
    found = lead(as_declared_now(well(), an_estate(well().datasets)), NOW + timedelta(hours=25), (night,))
    assert found.caveats == (() if said is None else (said,))
    assert found.old is (said is not None)
    assert found.conclusion is (Conclusion.CONFORMING if said is None else Conclusion.UNVERIFIED)


def test_an_old_failure_stays_a_failure() -> None:
    whole, estate, _ = the_station()
    assert lead(as_declared_now(whole, estate), NOW + timedelta(days=5)).conclusion is Conclusion.NONCONFORMING


def test_what_was_declared_since_is_named_and_keeps_the_rest_from_being_all() -> None:
    both = well().datasets
    found = lead(as_declared_now(judged(both[:1]), an_estate(both)), NOW)
    assert found.caveats == ("letters was declared since the last audit: nothing of it is proven.",)
    assert found.conclusion is Conclusion.UNVERIFIED
    assert not found.old


def test_what_was_declared_otherwise_since_is_named_and_keeps_the_rest_from_being_all() -> None:
    copies = Detail(what="copies", before="2", now="3")
    stricter = EstateChange(kind=ChangeKind.CHANGED, part=Part.POLICY, name="careful", details=(copies,))
    came = EstateChange(kind=ChangeKind.CAME, part=Part.DATASET, name="letters")
    both = well().datasets
    found = lead(as_declared_now(well(), an_estate(both)), NOW, (), (stricter,))
    (said,) = found.caveats
    assert said.startswith("Of what was declared since the last audit nothing is proven yet: ")
    assert said.endswith(": policy careful is declared otherwise: copies 2, now 3.")
    assert (found.conclusion, found.old) == (Conclusion.UNVERIFIED, False)
    assert len(lead(as_declared_now(judged(both[:1]), an_estate(both)), NOW, (), (came,)).caveats) == 1  # said once


def test_what_left_the_estate_is_left_out_and_concludes_nothing_more() -> None:
    whole, estate, _ = the_station()
    left = {"herbarium-scans", "station-ledger"}
    present = as_declared_now(
        whole, replace(estate, datasets=tuple(one for one in estate.datasets if one.id not in left))
    )
    assert {one.id for one in present.judged.datasets} == {one.id for one in whole.datasets} - left
    assert present.judged.conclusion is Conclusion.UNVERIFIED
    (said,) = lead(present, NOW).caveats
    assert said == "herbarium-scans and station-ledger left the estate since the last audit and are left out here."


def test_what_was_renamed_is_the_same_dataset() -> None:
    datasets = well().datasets
    estate = an_estate(datasets)
    renamed = replace(
        estate,
        datasets=tuple(
            replace(one, id=DatasetId("charts"), formerly=(DatasetId("maps"),)) if one.id == "maps" else one
            for one in estate.datasets
        ),
    )
    present = as_declared_now(judged(datasets), renamed)
    assert [one.id for one in present.judged.datasets] == ["charts", "letters"]
    assert lead(present, NOW).caveats == ()


def test_many_names_are_counted() -> None:
    whole, estate, _ = the_station()
    (said,) = lead(as_declared_now(replace(whole, datasets=whole.datasets[:2]), estate), NOW).caveats
    assert said.startswith("visitor-book") is False
    assert "and 5 more were declared since" in said
