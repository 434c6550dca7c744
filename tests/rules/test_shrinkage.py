"""The rule of what goes or is rewritten at once: what it answers, and where the state before still is."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import PinState
from coverage_audit.evidence.turnover import FormerFile, MassChange, Shares, Sign, Turnover, Watched
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, Standing
from tests.builders.cases import (
    a_case,
    a_comparison,
    a_copy,
    a_dated_copy,
    a_gap,
    a_place,
    a_point,
    an_identity,
    an_original,
    judged,
    judged_copy,
    judged_dataset,
)
from tests.builders.station import CURLEW, HERON, KESTREL, POLICY, RECORDINGS, SEEN, STARTED

BEFORE = SEEN - timedelta(days=1)
FORMER = Tally(files=1000, bytes=5_000_000_000)
TOOK = Tally(files=100, bytes=400_000_000)
NONE = Tally()


def a_turnover(**values: Any) -> Turnover:
    """A tenth of the recordings went since last night."""
    wanted: dict[str, Any] = {
        "before_at": BEFORE,
        "at": SEEN,
        "before": FORMER,
        "now": Tally(files=900, bytes=4_600_000_000),
        "gone": TOOK,
        "largest": (FormerFile(path=b"spring/long \xff.wav", size=90_000_000, mtime_ns=1_700_000_000 * 10**9),),
        "oldest": (FormerFile(path=b"field notes.txt", size=12, mtime_ns=1_000_000_000 * 10**9),),
    }
    return Turnover(**{**wanted, **values})


def a_change(turnover: Turnover | None = None, **values: Any) -> MassChange:
    wanted: dict[str, Any] = {"since": STARTED, "seen_at": SEEN, "signs": (Sign.WENT,)}
    return MassChange(turnover=turnover or a_turnover(), **{**wanted, **values})


def watched(case: DatasetCase, seen: Watched | None, share: float | None = 0.1) -> DatasetCase:
    original = replace(case.original, watched=seen)
    return replace(case, original=original, policy=replace(case.policy, shrinkage=share))


def holding(former: Tally | None, **values: Any) -> Any:
    return a_comparison(former=former, **values)


def told(case: DatasetCase, subject: str = "kestrel:main/recordings") -> Finding:
    findings = judged_dataset(case).findings
    return next(f for f in findings if f.id == f"shrinkage:field-recordings@{subject}")


def fallen(*copies: Any, **values: Any) -> DatasetCase:
    return watched(a_case(*copies), Watched(last=a_turnover(), signs=(Sign.WENT,), standing=a_change(**values)))


def two_mirrors(heron: Tally = TOOK, curlew: Tally = NONE) -> tuple[Any, Any]:
    return (
        a_copy(HERON, RECORDINGS.copies[0], comparison=holding(heron)),
        a_copy(CURLEW, RECORDINGS.copies[1], comparison=holding(curlew)),
    )


def test_little_that_went_is_in_order_and_said_by_files_and_by_bytes() -> None:
    few = a_turnover(gone=Tally(files=2, bytes=10_000_000))
    found = told(watched(a_case(), Watched(last=few, known=9)))

    assert found.answer is Answer.CONFORMITY
    assert found.measured == "2 (under 1%) of 1 000 files and 10.0 MB (under 1%) of 5.0 GB lost"
    assert found.required == "less than 10% of files or bytes lost at once"
    assert found.control == "supports evidence for NIST SP 800-53 Rev. 5 SI-7"


def test_what_went_at_once_is_a_nonconformity_of_a_dataset_that_is_held_whole() -> None:
    case = fallen(*two_mirrors())
    found = told(case)

    assert found.answer is Answer.NONCONFORMITY
    assert judged(case).conclusion is Conclusion.NONCONFORMING
    assert "100 (10%) of 1 000 files and 400 MB (8%) of 5.0 GB lost" in found.message
    assert "the largest: “spring/long \\xff.wav” (90.0 MB)" in found.message
    assert "the oldest: “field notes.txt” (2001-09-09)" in found.message
    assert [copy.standing for copy in judged_dataset(case).copies] == [Standing.PROVEN] * 2


def test_the_copies_that_hold_the_state_before_are_named_and_those_that_took_it_over() -> None:
    found = told(fallen(*two_mirrors()))

    assert "heron:pool/mirror/recordings still holds 100 files (400 MB) of 100 files (400 MB)" in found.message
    assert "curlew:store/recordings has taken it over" in found.message
    assert found.mend.startswith("Stop the next runs to heron:pool/mirror/recordings. Find out what happened")
    assert "coverage-audit waive shrinkage:field-recordings@kestrel:main/recordings" in found.mend
    assert found.waivable


def test_a_mirror_that_took_the_deletion_over_proves_nothing_of_the_state_before() -> None:
    found = told(fallen(*two_mirrors(Tally(), Tally())))

    assert "heron:pool/mirror/recordings and curlew:store/recordings have taken it over" in found.message
    assert "no copy is known that holds the state before it" in found.message
    assert "Stop" not in found.mend


def test_a_mirror_of_which_it_cannot_be_told_is_not_said_to_have_taken_it_over() -> None:
    unclear = a_copy(HERON, RECORDINGS.copies[0], comparison=holding(Tally(), former_unclear=TOOK))
    found = told(fallen(unclear, a_copy(CURLEW, RECORDINGS.copies[1], comparison=holding(NONE))))

    assert "curlew:store/recordings has taken it over" in found.message
    assert "whether heron:pool/mirror/recordings still holds it is not known" in found.message
    assert "no copy is known" not in found.message


@pytest.mark.parametrize(
    ("known", "usually", "answer"),
    [
        (9, 0.0, Answer.OBSERVATION),
        (9, 0.65, Answer.CONFORMITY),
        (0, 0.0, Answer.OBSERVATION),
    ],
)
def test_much_that_was_touched_and_looks_as_before_is_told(known: int, usually: float, answer: Answer) -> None:
    turnover = a_turnover(gone=NONE, touched=Tally(files=700, bytes=3_500_000_000))
    found = told(watched(a_case(), Watched(last=turnover, known=known, usual=Shares(touched=usually))))

    assert found.answer is answer
    said = "700 of 1 000 files were written to, or had their permissions or links changed, with size and time as before"
    assert (said in found.message) is (answer is Answer.OBSERVATION)


def test_little_that_was_touched_and_half_of_all_before_it_is_learned_are_not_told() -> None:
    for files, known in ((90, 9), (490, 2)):
        turnover = a_turnover(gone=NONE, touched=Tally(files=files, bytes=1))
        assert told(watched(a_case(), Watched(last=turnover, known=known))).answer is Answer.CONFORMITY


def test_what_was_touched_is_told_beside_a_change_that_stands() -> None:
    last = a_turnover(gone=NONE, touched=Tally(files=700, bytes=1))
    found = told(watched(a_case(), Watched(last=last, known=9, standing=a_change())))

    assert found.answer is Answer.NONCONFORMITY
    assert "since the last listing 700 of 1 000 files were written to" in found.message


def test_a_copy_that_was_not_seen_in_this_audit_is_not_known_to_hold_it() -> None:
    earlier = a_copy(HERON, RECORDINGS.copies[0], comparison=holding(TOOK), tree_at=STARTED - timedelta(hours=20))
    found = told(fallen(earlier, a_copy(CURLEW, RECORDINGS.copies[1], comparison=None, gap=a_gap("curlew"))))

    assert (
        "whether heron:pool/mirror/recordings and curlew:store/recordings still hold it is not known" in found.message
    )
    assert "no copy is known" not in found.message


def test_older_points_hold_the_state_before_by_their_dates_and_younger_ones_do_not() -> None:
    points = (
        a_point("2026-11-22", BEFORE - timedelta(days=2)),
        a_point("2026-11-23", BEFORE - timedelta(days=1)),
        a_point("2026-11-25", SEEN + timedelta(minutes=1)),
    )
    found = told(fallen(a_dated_copy(HERON, *points, comparison=holding(Tally()))))

    assert "has 2 recovery points from before it, by their dates, the newest “2026-11-23”" in found.message
    assert "no copy is known" not in found.message


@pytest.mark.parametrize(
    ("point", "said"),
    [
        (a_point("2026-11-24", BEFORE + timedelta(hours=3)), "whether “2026-11-24” of heron:pool/.points/{point}"),
        (a_point("2026-11-25", SEEN + timedelta(minutes=1)), "has no recovery point from before it"),
    ],
)
def test_a_point_between_two_listings_may_be_of_either_state(point: Any, said: str) -> None:
    assert said in told(fallen(a_dated_copy(HERON, point, comparison=holding(Tally())))).message


def test_where_the_clock_was_set_back_between_the_listings_no_date_says_of_which_state_a_point_is() -> None:
    turnover = a_turnover(before_at=SEEN + timedelta(days=300))
    point = a_point("2026-11-24", SEEN - timedelta(hours=2))
    case = fallen(a_dated_copy(HERON, point, comparison=holding(Tally())), turnover=turnover)

    assert "whether “2026-11-24” of heron:pool/.points/{point}" in told(case).message
    assert "from before it, by their dates" not in told(case).message


def test_files_with_one_new_suffix_are_told_with_it() -> None:
    renamed = a_turnover(suffixed=TOOK, suffix=b".x\xffz")
    found = told(fallen(turnover=renamed, signs=(Sign.WENT, Sign.SUFFIXED)))

    assert "100 files went each while one of its name with the suffix “.x\\xffz” came" in found.message


def test_nothing_left_at_all_may_be_a_disk_that_is_not_mounted() -> None:
    nothing = a_turnover(gone=FORMER, now=Tally())
    original = an_original(tree=replace(an_original().tree, census=replace(_census(), files=0, bytes=0)))
    case = replace(fallen(turnover=nothing), original=replace(original, watched=Watched(standing=a_change(nothing))))
    found = told(case)

    assert "nothing at all is left" in found.message
    assert "coverage-audit preflight --accept kestrel:main" in found.mend
    assert not found.waivable


def _census() -> Any:
    return getattr(an_original().tree, "census")  # noqa: B009 - a manifest, which the builder's type does not say


def test_on_another_volume_it_is_told_and_not_known() -> None:
    other = a_place(KESTREL, identity=an_identity(KESTREL.volumes[0], PinState.CHANGED, "filesystem UUID was a"))
    case = fallen()
    case = replace(case, original=replace(case.original, place=other, tree=a_gap("kestrel")))

    assert told(case).answer is Answer.UNVERIFIED
    since_long = a_change(seen_at=STARTED - timedelta(days=3))
    stood = replace(case.original, watched=Watched(why_not="not seen", standing=since_long))
    assert told(replace(case, original=stood)).answer is Answer.NONCONFORMITY


def test_it_stands_while_the_original_is_not_seen_and_where_what_is_kept_cannot_be_read() -> None:
    case = fallen(seen_at=STARTED - timedelta(days=3), readable=False)
    away = replace(case, original=replace(case.original, tree=a_gap("kestrel")))

    assert told(away).answer is Answer.NONCONFORMITY
    assert "how much of it still stands could not be told in this audit" in told(away).message


def test_what_was_accepted_ends_with_this_audit() -> None:
    found = told(fallen(accepted=STARTED - timedelta(hours=2)))

    assert found.answer is Answer.OBSERVATION
    assert "it ends with this" in found.message


def test_another_change_is_another_trouble_for_a_waiver() -> None:
    assert told(fallen()).kind != told(fallen(since=STARTED + timedelta(days=1))).kind
    assert told(fallen()).kind != told(fallen(grown=STARTED + timedelta(days=1))).kind
    assert told(fallen()).degree == 0.1


@pytest.mark.parametrize("share", [None, 0.1])
def test_a_first_listing_fails_nothing(share: float | None) -> None:
    first = watched(a_case(), Watched(why_not="it has no whole listing before it", first=True), share)

    assert told(first).answer is Answer.OBSERVATION
    assert judged(first).conclusion is Conclusion.CONFORMING


@pytest.mark.parametrize("share", [None, 0.1])
def test_a_listing_that_cannot_be_read_any_more_leaves_it_open(share: float | None) -> None:
    lost = watched(a_case(), Watched(why_not="the listing before it cannot be read any more"), share)

    assert told(lost).answer is Answer.UNVERIFIED
    assert judged(lost).conclusion is Conclusion.UNVERIFIED


@pytest.mark.parametrize(("share", "answer"), [(None, Answer.OBSERVATION), (0.1, Answer.UNVERIFIED)])
def test_an_original_that_was_not_seen_leaves_open_what_is_asked(share: float | None, answer: Answer) -> None:
    case = watched(a_case(), Watched(why_not="it was not seen in this audit"), share)
    unseen = replace(case, original=replace(case.original, tree=a_gap("kestrel")))

    assert told(unseen).answer is answer


def test_what_was_not_looked_at_is_open_where_it_is_asked() -> None:
    assert told(watched(a_case(), None)).answer is Answer.UNVERIFIED
    findings = judged_dataset(watched(a_case(), None, None)).findings
    assert not [finding for finding in findings if finding.rule == "shrinkage"]


def test_much_that_is_rewritten_is_looked_at_until_it_is_known_what_is_usual() -> None:
    edited = a_turnover(gone=Tally(), changed=Tally(files=300, bytes=0))
    found = told(watched(a_case(), Watched(last=edited, known=1)))

    assert found.answer is Answer.OBSERVATION
    assert "300 (30%) rewritten" in found.message
    assert told(watched(a_case(), Watched(last=edited, known=3))).answer is Answer.CONFORMITY  # usual, as audits saw


def a_mirror(**values: Any) -> DatasetCase:
    lost = Watched(last=a_turnover(), signs=(Sign.WENT,))
    return a_case(
        a_copy(HERON, RECORDINGS.copies[0], watched=lost, comparison=a_comparison(**values)),
        a_copy(CURLEW, RECORDINGS.copies[1]),
    )


def test_a_mirror_that_lost_what_its_original_still_holds_did_so_by_itself() -> None:
    case = a_mirror(went_back=TOOK, counting=TOOK, counting_rows=100, missing=TOOK, holds_newer=True)
    found = told(case, "heron:pool/mirror/recordings")

    assert found.answer is Answer.NONCONFORMITY
    assert "the original still holds 100 files (400 MB) of it" in found.message
    enough = replace(case, policy=replace(POLICY, copies=1, media=None, offsite=None))
    assert told(enough, "heron:pool/mirror/recordings").answer is Answer.OBSERVATION


def test_a_mirror_that_lost_what_its_original_has_no_more_is_looked_at() -> None:
    found = told(a_mirror(), "heron:pool/mirror/recordings")

    assert found.answer is Answer.OBSERVATION
    assert "what it has besides its original went" in found.message


def test_what_is_held_back_is_said_of_the_copy_and_does_not_make_it_incomplete() -> None:
    most = Tally(files=900, bytes=4_900_000_000)
    found = holding(
        most, missing=most, held_back=most, held_back_missing=most, same=Tally(files=100, bytes=100_000_000)
    )
    copy = judged_copy(a_copy(HERON, RECORDINGS.copies[0], comparison=found))

    assert copy.standing is Standing.PROVEN
    assert "of what changed at once in the original 900 files (4.9 GB) as before" in copy.reason
    assert any(remark.startswith("held back: 900 files (4.9 GB)") for remark in copy.remarks)


def test_what_is_missing_besides_what_is_held_back_still_makes_it_incomplete() -> None:
    held, lacking = Tally(files=300, bytes=0), Tally(files=600, bytes=0)
    found = a_comparison(missing=held + lacking, held_back=held, held_back_missing=held, counting=lacking)

    assert judged_copy(a_copy(HERON, RECORDINGS.copies[0], comparison=found)).standing is Standing.INCOMPLETE
