"""Content: what the rule says of samples, of what is spoilt, and of what was not read."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from scipy.stats import hypergeom

from coverage_audit.estate.criteria import Verify
from coverage_audit.estate.model import Copy, Proof
from coverage_audit.estate.sources import DatedFiles
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.verified import Harm, Sampled, Spoilt, Verified, WholeReading
from coverage_audit.judgement.case import CopyEvidence
from coverage_audit.judgement.content_shown import in_short, statement_of
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, Standing
from tests.builders.cases import a_case, a_copy, a_gap, an_original, judged_copy, judged_dataset
from tests.builders.station import CURLEW, HERON, KESTREL, POLICY, RECORDINGS, STARTED, an_address, an_estate

VERIFY = Verify(confidence=Fraction(95, 100), tolerable=Fraction(1, 100), every=timedelta(days=30))
ASKS = replace(POLICY, verify=VERIFY)
FILES = 41_312


def a_sample(**values: object) -> Sampled:
    wanted: dict[str, object] = {
        "began": STARTED - timedelta(days=3),
        "ended": STARTED - timedelta(days=3, hours=-1),
        "population": Tally(files=FILES, bytes=10**12),
        "asked": 299,
        "same": 299,
    }
    return Sampled(**{**wanted, **values})  # type: ignore[arg-type]


def a_spoilt(path: bytes = b"takes/7.flac", harm: Harm = Harm.DIFFERS, **values: object) -> Spoilt:
    wanted: dict[str, object] = {"size": 9, "mtime_ns": 0, "digest": b"a" * 32, "wanted": b"b" * 32, "at": STARTED}
    return Spoilt(path=path, harm=harm, **{**wanted, **values})  # type: ignore[arg-type]


def copies(*known: Verified | None) -> tuple[CopyEvidence, ...]:
    devices = (HERON, CURLEW)
    return tuple(
        a_copy(device, copy, verified=one) for device, copy, one in zip(devices, RECORDINGS.copies, known, strict=False)
    )


def finding(known: Verified | None, **values: object) -> Finding:
    case = a_case(*copies(known), **{"policy": replace(ASKS, copies=2, media=None, offsite=None), **values})
    (found,) = (f for f in judged_dataset(case).findings if f.rule == "content" and "@heron" in f.subject)
    return found


def test_a_sample_without_a_differing_file_is_the_statement_that_is_asked_for() -> None:
    found = finding(Verified(last=a_sample()))

    assert found.answer is Answer.CONFORMITY
    assert found.measured == "with 95 % confidence fewer than 1 % of these 41 312 files differ"
    assert found.required == "fewer than 1 % differing, with 95 % confidence, every 30 days"
    assert "299 of them, drawn at random, were read from 2026-11-22" in found.message


def test_one_file_fewer_than_that_supports_less_and_is_not_enough() -> None:
    """The least sample of so many files for 95 % and 1 % is 297, by scipy.stats.hypergeom as well."""
    assert hypergeom.cdf(0, FILES, 414, 297) <= 0.05 < hypergeom.cdf(0, FILES, 414, 296)
    assert finding(Verified(last=a_sample(asked=297, same=297))).answer is Answer.CONFORMITY
    short = finding(Verified(last=a_sample(asked=296, same=296)))
    assert short.answer is Answer.UNVERIFIED
    assert "with 95 % confidence at most 414 of these 41 312 files" in short.message


def test_what_could_not_be_read_counts_as_if_it_differed() -> None:
    found = finding(Verified(last=a_sample(same=298, not_shown=1)))

    assert found.answer is Answer.UNVERIFIED
    assert "1 file of the sample could not be read and count" in found.message


def test_a_sample_under_way_shows_nothing_yet() -> None:
    found = finding(Verified(running=a_sample(ended=None, same=120)))

    assert found.answer is Answer.UNVERIFIED
    assert "of its sample 120 of 299 files are read so far" in found.message


def test_an_overdue_sample_shows_nothing_any_more() -> None:
    began = STARTED - timedelta(days=31)
    found = finding(Verified(last=a_sample(began=began, ended=began)))

    assert found.answer is Answer.UNVERIFIED
    assert "its content was last read 2026-10-25" in found.message


def test_a_copy_that_was_never_read_is_unverified_although_its_listing_is_right() -> None:
    dataset = judged_dataset(a_case(*copies(None, None), policy=ASKS))

    assert {copy.standing for copy in dataset.copies} == {Standing.PROVEN}
    assert {f.answer for f in dataset.findings if f.rule == "content"} == {Answer.UNVERIFIED}
    assert dataset.conclusion is Conclusion.UNVERIFIED


def test_one_copy_that_was_read_does_not_speak_for_the_other() -> None:
    dataset = judged_dataset(a_case(*copies(Verified(last=a_sample()), None), policy=ASKS))

    assert [f.answer for f in dataset.findings if f.rule == "content"] == [Answer.CONFORMITY, Answer.UNVERIFIED]


def test_a_spoilt_file_is_damage_whatever_the_sample_says_and_cannot_be_waived() -> None:
    found = finding(Verified(last=a_sample(), spoilt=(a_spoilt(),), spoilt_files=1))

    assert (found.answer, found.waivable, found.degree) == (Answer.NONCONFORMITY, False, 1.0)
    assert "“takes/7.flac” differs from the original's" in found.message


@pytest.mark.parametrize("harm", list(Harm))
def test_each_kind_of_harm_has_its_words(harm: Harm) -> None:
    found = finding(Verified(spoilt=(a_spoilt(harm=harm),), spoilt_files=1))
    words = {Harm.DIFFERS: "differs from", Harm.DECAYED: "decayed", Harm.REWRITTEN: "size and time put back"}
    assert words[harm] in found.message


def test_a_spoilt_copy_is_damaged_even_where_it_was_not_seen_in_this_audit() -> None:
    known = Verified(spoilt=(a_spoilt(),), spoilt_files=1)
    assert judged_copy(a_copy(HERON, RECORDINGS.copies[0], verified=known)).standing is Standing.DAMAGED
    unseen = a_copy(HERON, RECORDINGS.copies[0], verified=known, comparison=None, gap=a_gap())
    assert judged_copy(unseen).standing is Standing.DAMAGED


def test_of_a_decayed_original_it_says_who_still_holds_what_was() -> None:
    held = a_spoilt(b"one", Harm.DECAYED, held_by=(an_address("heron:pool/mirror/recordings"),))
    original = an_original(spoilt=(held, a_spoilt(b"two", Harm.DECAYED)), spoilt_files=2)
    dataset = judged_dataset(a_case(*copies(None, None), policy=POLICY, original=original))

    (found,) = (f for f in dataset.findings if f.rule == "content")
    assert (found.answer, found.waivable) == (Answer.NONCONFORMITY, False)
    assert "still at heron:pool/mirror/recordings: get them back from there" in found.message
    assert "Of 1 file of them no copy was seen to hold it" in found.message
    assert dataset.original.standing is Standing.DAMAGED
    assert dataset.conclusion is Conclusion.NONCONFORMING


def test_nothing_is_said_where_nothing_is_asked_and_nothing_was_read() -> None:
    dataset = judged_dataset(a_case(*copies(None, None), policy=POLICY))
    assert [f for f in dataset.findings if f.rule == "content"] == []


def test_what_was_read_without_being_asked_for_is_a_remark_that_says_no_more_than_the_sample_shows() -> None:
    found = finding(Verified(last=a_sample()), policy=POLICY)
    asked = finding(Verified(last=a_sample()))
    assert (found.answer, found.mend) == (Answer.OBSERVATION, "")
    assert (found.measured, found.message) == (asked.measured, asked.message)


def test_where_nothing_was_read_to_its_end_and_nothing_is_asked_nothing_is_said_to_be_right() -> None:
    found = finding(Verified(running=a_sample()), policy=POLICY)
    assert found.answer is Answer.OBSERVATION
    assert "no sample of its content was read to its end yet" in found.message


def test_dated_files_cannot_be_read_file_by_file() -> None:
    dumps = Copy(address=an_address("heron:pool/dumps"), points=DatedFiles(pattern="%Y"), proof=Proof.DATED)
    dataset = judged_dataset(a_case(a_copy(HERON, dumps, comparison=None, tree_at=None), policy=ASKS))

    (found,) = (f for f in dataset.findings if f.rule == "content")
    assert found.answer is Answer.UNVERIFIED
    assert "none of its points is a tree" in found.message


def test_a_policy_that_asks_and_has_no_copy_is_not_silently_met() -> None:
    case = a_case(policy=ASKS)
    alone = replace(case, copies=(), dataset=replace(case.dataset, copies=()))
    dataset = judged_dataset(alone, an_estate(KESTREL))
    assert {f.answer for f in dataset.findings if f.rule == "content"} == {Answer.UNVERIFIED}


def test_a_reading_of_all_says_how_far_it_has_come_and_when_it_is_through() -> None:
    whole = WholeReading(
        asked=STARTED, ended=None, same=Tally(files=1_000, bytes=10**9), differing=0, not_shown=2, changed=1,
        left=Tally(files=3_000, bytes=3 * 10**9), seconds=10.0, through=STARTED + timedelta(days=4),
    )  # fmt: skip
    found = finding(Verified(last=a_sample(), whole=whole))
    edited = "1 were edited before they were reached"
    assert (
        f"1 000 files (1.0 GB) are right, 2 could not be read, {edited}, 3 000 files (3.0 GB) are left" in found.message
    )
    assert "through by 2026-11-29" in found.message
    ended = STARTED + timedelta(days=3)
    done = finding(Verified(last=a_sample(), whole=replace(whole, ended=ended, left=Tally())))
    assert "all that it held 2026-11-25" in done.message  # what came since is no part of it
    assert "was read by 2026-11-28" in done.message


def read_whole(not_shown: int, *, left: int = 0, ended: datetime | None = STARTED - timedelta(days=1)) -> WholeReading:
    same = Tally(files=FILES - not_shown - left, bytes=10**12)
    return WholeReading(
        asked=STARTED - timedelta(days=2), ended=ended, same=same, differing=0, not_shown=not_shown, changed=0,
        left=Tally(files=left), seconds=9.0,
    )  # fmt: skip


@pytest.mark.parametrize("not_shown", [413, 414])
def test_what_reading_all_could_not_read_counts_though_the_sample_missed_it(not_shown: int) -> None:
    """1 % of 41,312 files are 413.12."""
    verified = Verified(last=a_sample(), whole=read_whole(not_shown))
    found = finding(verified)
    assert found.answer is (Answer.UNVERIFIED if not_shown > 413 else Answer.CONFORMITY)
    said = f"where all of it was to be read, {not_shown} files could not be; fewer than 1 % is asked for"
    assert (said in found.message) is (not_shown > 413)
    short = in_short(verified, VERIFY, STARTED, ZoneInfo("UTC"))
    assert short.startswith("414 files could not be read" if not_shown > 413 else "with 95 % confidence fewer than 1 %")


def test_it_counts_while_all_is_still_being_read_and_until_a_later_sample_is_read() -> None:
    under_way = read_whole(414, left=20_000, ended=None)
    assert finding(Verified(last=a_sample(), whole=under_way)).answer is Answer.UNVERIFIED
    before = read_whole(414, ended=a_sample().began + timedelta(minutes=59))  # the sample took an hour
    assert finding(Verified(last=a_sample(), whole=before)).answer is Answer.CONFORMITY


@pytest.mark.parametrize("missing", [0, 1])
def test_proof_sampled_needs_the_statement(missing: int) -> None:
    sample = a_sample(asked=297 - missing, same=297 - missing)
    copy = judged_copy(
        replace(copies(Verified(last=sample))[0], copy=replace(RECORDINGS.copies[0], proof=Proof.SAMPLED))
    )
    assert copy.proof is (Proof.LISTED if missing else Proof.SAMPLED)
    assert copy.standing is (Standing.UNVERIFIED if missing else Standing.PROVEN)


def test_a_statement_of_many_that_differ_says_no_less_than_all_that_was_not_read() -> None:
    many = a_sample(population=Tally(files=10**7, bytes=0), asked=5_000, same=3_000, differing=2_000)
    statement = statement_of(many, VERIFY)
    assert statement is not None
    assert statement.at_most == 10**7 - 3_000
