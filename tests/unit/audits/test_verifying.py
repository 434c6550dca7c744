"""Reading content over the nights: what is counted, what sticks, what goes on, what is never said."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from coverage_audit.audits import rereading
from coverage_audit.audits.verifying import Wish
from coverage_audit.estate.criteria import Verify
from coverage_audit.estate.model import Proof
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.evidence.verified import Harm
from coverage_audit.judgement.content_shown import USUAL
from coverage_audit.judgement.verdict import Answer, Standing
from coverage_audit.reckoning.sampling import sample_size
from tests.builders.boxes import Boxes, File, boxes, recordings, with_terms
from tests.builders.cases import a_gap
from tests.builders.station import STARTED

ALL = Wish(now=True, all=True)
NOW = Wish(now=True)
FILES = 500
ASKED = sample_size(FILES, Fraction(1, 100), Fraction(95, 100))
A_DAY = timedelta(days=1)


@pytest.fixture
def two(tmp_path: Path) -> Iterator[Boxes]:
    """Kestrel with 500 recordings, and heron with a mirror."""
    with boxes(tmp_path, FILES) as made:
        yield made


def test_as_many_are_read_on_both_sides_as_the_statement_needs_and_some_beside(two: Boxes) -> None:
    known = two.night()

    assert known.last is not None
    assert (known.last.asked, known.last.same, known.last.sampled) == (ASKED, ASKED, ASKED)
    assert known.last.beside == ASKED // 10
    assert Counter(device for device, _ in two.asked) == dict.fromkeys(("kestrel", "heron"), ASKED + ASKED // 10)
    assert two.answer() is Answer.CONFORMITY
    assert "with 95 % confidence fewer than 1 % of these 500 files differ" in two.finding.message


def test_nothing_is_read_while_the_statement_holds_and_it_is_renewed_before_it_is_overdue(two: Boxes) -> None:
    two.night(later=timedelta(days=22))
    two.asked.clear()
    two.night()
    assert two.asked == []
    assert two.answer() is Answer.CONFORMITY
    known = two.night()  # three quarters of 30 days are over
    assert two.asked
    assert known.last is not None
    assert known.last.began == STARTED + timedelta(days=23)


def test_without_a_new_reading_the_statement_is_overdue_and_shows_nothing_any_more(two: Boxes) -> None:
    two.night(later=timedelta(days=29))
    two.fails["heron"] = a_gap("heron", GapKind.REFUSED, "content is not allowed")
    two.night()
    assert two.answer() is Answer.CONFORMITY
    known = two.night()
    assert two.answer() is Answer.UNVERIFIED
    assert "its content was last read 2026-11-25" in two.finding.message
    assert "content is not allowed" in two.finding.message
    assert known.why_not is not None


def test_a_sample_that_the_time_does_not_suffice_for_goes_on_and_says_nothing_until_it_is_whole(two: Boxes) -> None:
    two.time, two.seconds = timedelta(seconds=10), 0.1  # a hundred files a night
    first = two.night()
    assert first.last is None
    assert first.running is not None
    assert (first.running.asked, first.running.same) == (ASKED, 100)
    assert two.answer() is Answer.UNVERIFIED
    assert f"100 of {ASKED} files are read so far" in two.finding.message
    second = two.night()
    assert second.running is not None
    assert second.running.same == 200
    third = two.night()
    assert third.last is not None
    assert third.last.same == ASKED
    assert third.last.began == STARTED  # no reading is older than that
    assert max(Counter(two.asked).values()) == 1  # nothing was read twice


def test_a_file_edited_between_the_nights_of_a_sample_is_read_again(two: Boxes) -> None:
    two.time, two.seconds = timedelta(seconds=10), 0.1
    two.night()
    read = [path for device, path in two.asked if device == "heron"]
    edited = two.original[read[0]].edited(b"another take")
    two.original[read[0]] = two.copy[read[0]] = edited
    two.night()

    assert two.asked.count(("heron", read[0])) == 2


def test_a_file_edited_in_the_original_after_it_was_listed_leaves_the_sample_for_another(two: Boxes) -> None:
    def edit(device: str) -> None:
        if device == "kestrel" and not two.asked:
            for path in list(two.original)[:50]:
                two.original[path] = two.original[path].edited(b"another take")

    two.before_reading = edit
    known = two.night()

    assert known.last is not None
    assert (known.last.asked, known.last.same, known.last.not_shown) == (ASKED, ASKED, 0)
    assert two.answer() is Answer.CONFORMITY


def test_a_file_whose_original_was_rewritten_with_its_time_put_back_while_it_was_read_is_no_damage(two: Boxes) -> None:
    def rewrite(device: str) -> None:
        if device == "kestrel" and not two.asked:
            for path in list(two.original)[:50]:
                two.original[path] = two.original[path].rewritten(b"x" * 64)

    two.before_reading = rewrite
    assert two.night().spoilt_files == 0


def test_a_copy_that_changes_its_files_under_the_reader_is_not_shown_to_be_right(two: Boxes) -> None:
    """It would leave the sample by that, and what is left would look better."""

    def change(device: str) -> None:
        if device == "heron":
            for path in list(two.copy)[::20]:
                two.copy[path] = two.copy[path].edited(b"x" * 64)

    two.before_reading = change
    known = two.night()

    assert known.last is not None
    assert known.last.not_shown > 0
    assert known.last.same + known.last.not_shown == ASKED
    assert two.answer() is Answer.UNVERIFIED
    assert "could not be read and count as if they differed" in two.finding.message


def test_what_lies_in_the_copy_instead_of_what_was_listed_is_not_read_for_it(two: Boxes) -> None:
    """Another volume is mounted there by now, with the same files: nothing of the copy was read."""

    def swap(device: str) -> None:
        if device == "heron":
            two.disks["heron"] = {path: file.rewritten(file.content) for path, file in two.copy.items()}

    two.before_reading = swap
    known = two.night(ALL)
    assert known.last is None
    assert two.answer() is Answer.UNVERIFIED
    assert known.whole is not None
    assert (known.whole.same.files, known.whole.not_shown) == (0, FILES)

    two.before_reading = lambda _: None
    assert two.night().last is not None  # nothing of it sticks
    assert two.answer() is Answer.CONFORMITY
    two.before_reading = swap
    assert two.night(NOW).last is not None
    assert two.answer() is Answer.CONFORMITY  # what was read before still lies there, by the listing


def test_files_that_cannot_be_read_are_never_counted_as_right(two: Boxes) -> None:
    for path in list(two.copy)[::10]:
        two.copy[path] = replace(two.copy[path], readable=False)
    known = two.night()

    assert known.last is not None
    assert known.last.not_shown > 10
    assert two.answer() is Answer.UNVERIFIED
    for path in two.copy:  # making these readable alone does not make the same sample better
        two.copy[path] = replace(two.copy[path], readable=True)
    again = two.night()
    assert again.last is not None
    assert again.last.not_shown == known.last.not_shown


def test_a_file_too_large_for_a_whole_night_is_not_shown_and_does_not_stop_the_others(two: Boxes) -> None:
    two.time, two.rate = timedelta(seconds=10), 10  # a hundred bytes a night
    for path in list(two.original)[::10]:
        two.original[path] = two.copy[path] = File(content=b"x" * 101)
    known = two.night()
    for _ in range(ASKED):
        known = two.night() if known.last is None else known

    assert known.last is not None
    assert known.last.not_shown > 10
    assert known.last.same + known.last.not_shown == ASKED
    assert two.answer() is Answer.UNVERIFIED
    assert all(len(two.original[path].content) <= 100 for _, path in two.asked)


def test_a_differing_file_is_damage_and_remembered_until_it_was_read_and_is_right(two: Boxes) -> None:
    path = b"takes/00123.flac"
    two.copy[path] = two.copy[path].rewritten(b"x" * 64)
    known = two.night(ALL)
    (spoilt,) = known.spoilt
    assert (spoilt.path, spoilt.harm) == (path, Harm.DIFFERS)
    assert two.answer() is Answer.NONCONFORMITY
    assert two.last is not None
    assert two.last.copies[0].standing is Standing.DAMAGED

    two.fails["heron"] = a_gap("heron")
    assert two.night().spoilt_files == 1  # it was not read again
    del two.fails["heron"]
    del two.copy[path]
    assert two.night().spoilt_files == 1  # it is missing now, and was not read again
    two.copy[path] = two.original[path]
    assert two.night().spoilt_files == 0
    assert two.answer() is Answer.CONFORMITY


def test_of_more_spoilt_files_than_a_night_reads_each_has_its_turn(two: Boxes, monkeypatch: pytest.MonkeyPatch) -> None:
    """Those that are first by name are never mended. One of five has no turn in 30 nights once in 10**8 runs."""
    monkeypatch.setattr(rereading, "_AT_ONCE", 5)
    spoilt = sorted(two.copy)[:10]
    for path in spoilt:
        two.copy[path] = two.copy[path].rewritten(b"x" * 64)
    assert two.night(ALL).spoilt_files == 10
    for path in spoilt[5:]:
        two.copy[path] = two.original[path]
    left = [two.night(later=timedelta(hours=1)).spoilt_files for _ in range(30)]
    assert left[-1] == 5


def test_a_spoilt_file_that_left_the_original_is_asked_for_no_more(two: Boxes) -> None:
    path = b"takes/00123.flac"
    two.copy[path] = two.copy[path].rewritten(b"x" * 64)
    two.night(ALL)
    del two.original[path], two.copy[path]
    assert two.night().spoilt_files == 0


def test_mending_only_what_a_sample_met_does_not_make_it_hold(two: Boxes) -> None:
    for path in list(two.copy)[::5]:
        two.copy[path] = two.copy[path].rewritten(b"x" * 64)
    first = two.night()
    assert first.last is not None
    for one in two.parts.ledger.verifications.of(two.last.id, two.last.copies[0].address).spoilt:  # type: ignore[union-attr]
        two.copy[one.path] = two.original[one.path]
    second = two.night()
    assert second.spoilt_files > 0  # the next sample, of another seed, met others
    assert second.last is not None
    assert second.last.began > first.last.began
    assert two.answer() is Answer.NONCONFORMITY


def test_decay_of_a_copy_is_told_from_a_write(two: Boxes) -> None:
    two.night(ALL)
    rotten, written = b"takes/00007.flac", b"takes/00008.flac"
    two.copy[rotten] = two.copy[rotten].decayed()
    two.copy[written] = two.copy[written].rewritten(b"x" * 64)
    known = two.night(ALL)

    assert {one.path: one.harm for one in known.spoilt} == {rotten: Harm.DECAYED, written: Harm.REWRITTEN}
    assert "decayed: another content at the same size and times" in two.finding.message
    assert two.about_original is None


def test_decay_of_the_original_is_its_own_and_the_copy_that_holds_what_was_is_named(two: Boxes) -> None:
    two.night(ALL)
    path = b"takes/00007.flac"
    was = two.original[path]
    two.original[path] = was.decayed()
    known = two.night(ALL)

    assert known.spoilt_files == 0
    assert two.last is not None
    assert two.last.copies[0].standing is Standing.PROVEN
    assert two.last.original.standing is Standing.DAMAGED
    finding = two.about_original
    assert finding is not None
    assert (finding.answer, finding.waivable) == (Answer.NONCONFORMITY, False)
    assert "“takes/00007.flac” decayed" in finding.message
    assert "still at heron:pool/mirror/recordings" in finding.message
    two.night()
    assert two.about_original is not None  # it is not forgotten though nothing is due
    two.original[path] = replace(was, ctime_ns=(was.ctime_ns or 0) + 99)  # brought back
    two.night()
    assert two.about_original is None


def test_a_crash_after_decay_of_the_original_was_met_does_not_forget_what_it_held(two: Boxes) -> None:
    two.night(ALL)
    path = b"takes/00007.flac"
    two.original[path] = two.original[path].decayed()

    def cut(device: str) -> None:
        if device == "heron":
            raise KeyboardInterrupt

    two.before_reading = cut
    with pytest.raises(KeyboardInterrupt):
        two.night(ALL)
    two.before_reading = lambda _: None
    known = two.night(ALL)
    assert known.spoilt_files == 0
    assert two.about_original is not None
    assert "“takes/00007.flac” decayed" in two.about_original.message


def test_decay_that_both_sides_share_names_no_copy(two: Boxes) -> None:
    two.night(ALL)
    path = b"takes/00007.flac"
    two.original[path] = two.copy[path] = two.original[path].decayed()
    known = two.night(ALL)

    assert known.spoilt_files == 1
    assert two.about_original is not None
    assert "no copy was seen to hold it" in two.about_original.message


def test_an_edit_of_the_original_ends_what_was_known_of_its_decay(two: Boxes) -> None:
    two.night(ALL)
    path = b"takes/00007.flac"
    two.original[path] = two.original[path].decayed()
    two.night(ALL)
    assert two.about_original is not None
    two.original[path] = two.original[path].edited(b"a take of today")
    two.night()
    assert two.about_original is None


def test_a_copy_that_changes_a_file_after_it_was_read_is_met_by_the_next_reading(two: Boxes) -> None:
    two.night(ALL)
    path = b"takes/00007.flac"
    two.copy[path] = two.copy[path].rewritten(b"x" * 64)
    assert two.night().spoilt_files <= 1  # nothing was due: it is met where it is one of the sample
    assert two.night(ALL).spoilt_files == 1


def test_all_is_read_over_as_many_nights_as_it_takes_and_it_says_when_it_is_through(two: Boxes) -> None:
    two.time, two.seconds = timedelta(seconds=10), 0.1  # a hundred files a night of each box
    first = two.night(ALL)
    assert first.whole is not None
    assert first.whole.through is not None
    assert abs(first.whole.through - (STARTED + 4 * A_DAY)) <= A_DAY
    nights = [two.night().whole for _ in range(4)]
    ended = [night.ended is not None for night in nights if night is not None]
    assert ended == [False, False, False, True]
    last = nights[-1]
    assert last is not None
    assert (last.same.files, last.differing, last.left.files) == (FILES, 0, 0)
    assert max(Counter(two.asked).values()) == 1  # nothing was read twice


def test_all_goes_on_past_a_night_on_which_the_box_was_off(two: Boxes) -> None:
    two.time, two.seconds = timedelta(seconds=10), 0.1
    two.night(ALL)
    two.fails["heron"] = a_gap("heron")
    two.night()
    del two.fails["heron"]
    known = [two.night() for _ in range(5)][-1]
    assert known.whole is not None
    assert known.whole.ended is not None
    assert known.whole.same.files == FILES


def test_a_night_that_is_cut_off_loses_no_more_than_what_it_had_not_read(tmp_path: Path) -> None:
    with boxes(tmp_path, FILES) as two:

        def cut(device: str) -> None:
            if device == "heron":
                raise KeyboardInterrupt

        two.before_reading = cut
        with pytest.raises(KeyboardInterrupt):
            two.night(ALL)
        assert {device for device, _ in two.asked} == {"kestrel"}
        two.before_reading = lambda _: None
        read = Counter(two.asked)
        known = two.night(NOW)
        assert known.last is not None
        assert known.last.same == ASKED
        assert all(count == 1 for one, count in Counter(two.asked).items() if one in read)


def test_of_a_second_copy_the_original_is_not_read_again(tmp_path: Path) -> None:
    with boxes(tmp_path, FILES) as three:
        three.disks["curlew"] = dict(three.copy)
        three.policy = replace(three.policy, copies=3)
        three.night()

    read = Counter(device for device, _ in three.asked)
    assert read["heron"] == read["curlew"] == ASKED + ASKED // 10
    assert read["kestrel"] <= ASKED + 2 * (ASKED // 10)  # what is read beside may be other files


def test_hostile_names_are_read_counted_and_named_safely(tmp_path: Path) -> None:
    names = (
        b"line\nfeed",
        b"\xff\xfe no utf-8",
        b"-rf",
        "naïve \u202egnp".encode(),
        b" ",
        b"<script>",
        b"'; DROP TABLE",
    )
    with boxes(tmp_path, 0) as two:
        for disk in two.disks.values():
            disk.update(dict(zip(names, recordings(len(names)).values(), strict=True)))
        for name in names:
            two.copy[name] = two.copy[name].rewritten(b"x" * 64)
        known = two.night()
        assert {one.path for one in known.spoilt} == set(names)
        assert two.night().spoilt_files == len(names)
        assert "\n" not in two.finding.message
        assert "\u202e" not in two.finding.message


def test_a_gap_on_one_side_says_why_and_shows_nothing(two: Boxes) -> None:
    refused = Gap(subject="heron", kind=GapKind.REFUSED, detail="its gate sends no content", at=STARTED)
    two.fails["heron"] = refused
    known = two.night()

    assert known.last is None
    assert known.why_not == refused
    assert two.answer() is Answer.UNVERIFIED
    assert "its gate sends no content" in two.finding.message


def test_a_policy_that_asks_for_proof_sampled_alone_is_shown_by_the_usual_terms(two: Boxes) -> None:
    two.policy = replace(two.policy, verify=None, proof=Proof.SAMPLED)
    two.night()
    assert two.last is not None
    assert two.last.copies[0].standing is Standing.PROVEN
    assert two.last.copies[0].proof is Proof.SAMPLED


def test_stricter_terms_than_those_it_was_drawn_for_are_not_met_by_an_old_sample(two: Boxes) -> None:
    two.night()
    two.fails["heron"] = a_gap("heron")
    two.policy = with_terms(Verify(confidence=Fraction(99, 100), tolerable=Fraction(1, 1000), every=timedelta(days=30)))
    two.night()
    assert two.answer() is Answer.UNVERIFIED
    assert "with 99 % confidence at most" in two.finding.message


def test_a_sample_larger_than_is_drawn_at_once_is_drawn_in_pieces(two: Boxes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coverage_audit.audits.sampling._DRAWN_AT_ONCE", 37)
    monkeypatch.setattr("coverage_audit.audits.sampling._FILES_AT_ONCE", 50)
    monkeypatch.setattr("coverage_audit.audits.reading_all._DRAWN", 37)
    known = two.night(ALL)

    assert known.last is not None
    assert known.last.same == ASKED
    assert known.whole is not None
    assert known.whole.same.files == FILES
    assert max(Counter(two.asked).values()) == 1


def test_what_bears_a_time_to_come_is_no_evidence(two: Boxes) -> None:
    """The clock was years ahead for a night: else nothing would be read again until then."""
    two.now = STARTED + timedelta(days=3650)
    two.night(ALL)
    two.now = STARTED
    two.fails["heron"] = a_gap("heron")
    two.night()
    assert two.answer() is Answer.UNVERIFIED
    del two.fails["heron"]
    two.asked.clear()
    two.copy[b"takes/00123.flac"] = two.copy[b"takes/00123.flac"].decayed()
    known = two.night(ALL)
    assert len({path for device, path in two.asked if device == "heron"}) == FILES
    assert known.spoilt_files == 1


def test_two_runs_draw_other_samples(tmp_path: Path) -> None:
    read = []
    for number in range(2):
        with boxes(tmp_path / str(number), FILES) as two:
            two.night()
            read.append({path for device, path in two.asked if device == "heron"})
    assert read[0] != read[1]


def test_a_file_for_which_a_whole_night_is_not_enough_is_not_shown_and_stops_nothing(two: Boxes) -> None:
    two.night(ALL)
    all_of_them = replace(USUAL, confidence=Fraction(999, 1000), tolerable=Fraction(1, 1000))
    two.policy = with_terms(all_of_them)
    two.endless = {b"takes/00123.flac"}
    two.night(ALL)
    nights = [two.night() for _ in range(7)]

    last, whole = nights[-1].last, nights[-1].whole
    assert last is not None
    assert (last.asked, last.same, last.not_shown) == (FILES, FILES - 1, 1)
    assert two.answer() is Answer.UNVERIFIED
    assert whole is not None
    assert whole.ended is not None
    assert (whole.same.files, whole.not_shown) == (FILES - 1, 1)


@pytest.mark.parametrize("sides", [("heron",), ("kestrel", "heron")])
def test_over_a_way_that_shows_no_ctime_a_sample_goes_on_as_well(two: Boxes, sides: tuple[str, ...]) -> None:
    for side in sides:
        for path, file in two.disks[side].items():
            two.disks[side][path] = replace(file, ctime_ns=None)
        two.lacks[side] = frozenset({"ctime"})
    two.time, two.seconds = timedelta(seconds=10), 0.1
    known = [two.night() for _ in range(3)][-1]

    assert known.last is not None
    assert known.last.same == ASKED
    assert max(Counter(two.asked).values()) == 1
    assert two.answer() is Answer.CONFORMITY
    assert "no ctimes are shown on both sides" in two.finding.message


@pytest.mark.parametrize("side", ["kestrel", "heron"])
def test_what_was_replaced_at_once_with_sizes_and_times_put_back_is_read_on_that_night(two: Boxes, side: str) -> None:
    two.night()
    for path in list(two.disks[side]):
        two.disks[side][path] = two.disks[side][path].rewritten(b"x" * 64)
    known = two.night()

    assert known.last is not None
    assert (known.last.same, known.last.differing) == (0, ASKED)
    assert two.answer() is Answer.NONCONFORMITY
    assert two.last is not None
    assert two.last.copies[0].standing is not Standing.PROVEN


@pytest.mark.parametrize("side", ["kestrel", "heron"])
def test_what_was_replaced_and_cannot_be_read_leaves_no_statement_until_it_is(two: Boxes, side: str) -> None:
    two.night()
    for disk in (two.original, two.copy):  # nothing but their ctimes is new
        for path in list(disk):
            disk[path] = disk[path].rewritten(disk[path].content)
    two.fails[side] = a_gap(side)
    known = two.night()

    assert known.last is not None
    assert (known.last.same, known.last.fallen) == (0, ASKED)
    assert two.answer() is Answer.UNVERIFIED
    assert f"{ASKED} files of its sample came or were written to since it was read" in two.finding.message
    assert two.last is not None
    assert two.last.copies[0].proof is Proof.LISTED
    del two.fails[side]
    two.asked.clear()
    known = two.night()
    assert known.last is not None
    assert (known.last.same, known.last.fallen) == (ASKED, 0)
    assert known.last.began == STARTED  # the same sample
    assert two.answer() is Answer.CONFORMITY


def test_a_gate_that_reads_without_ctimes_does_not_hide_that_files_were_replaced(two: Boxes) -> None:
    two.old_gates = {"heron", "kestrel"}
    two.night()
    two.asked.clear()
    two.night()
    assert two.asked == []
    for path in list(two.copy):
        two.copy[path] = two.copy[path].rewritten(b"x" * 64)
    two.night()
    assert two.answer() is Answer.NONCONFORMITY


def test_as_much_as_the_time_suffices_for_is_read_again_and_the_rest_counts_as_differing(two: Boxes) -> None:
    two.night()
    for path in list(two.copy):
        two.copy[path] = two.copy[path].rewritten(two.copy[path].content)
    two.time, two.seconds = timedelta(seconds=10), 0.1  # a hundred files a night
    counts = [(known.last.same, known.last.fallen) for _ in range(3) if (known := two.night()).last is not None]

    assert counts == [(100, ASKED - 100), (200, ASKED - 200), (ASKED, 0)]
    assert two.answer() is Answer.CONFORMITY


def test_what_comes_takes_its_part_in_the_sample_and_is_read(two: Boxes) -> None:
    two.night()
    for path, file in recordings(2 * FILES).items():
        two.original.setdefault(path, file)
        two.copy.setdefault(path, file)
    two.asked.clear()
    known = two.night()

    assert known.last is not None
    assert known.last.population.files == 2 * FILES
    assert known.last.same == sample_size(2 * FILES, Fraction(1, 100), Fraction(95, 100))
    assert 0 < len([path for device, path in two.asked if device == "heron"]) < known.last.same


def test_a_sample_that_cannot_be_held_against_the_listings_of_a_night_says_nothing_on_it(two: Boxes) -> None:
    two.night()
    usable, two.parts = two.parts, replace(two.parts, usable_digests=lambda _: a_gap("heron"))
    two.night()
    assert two.answer() is Answer.UNVERIFIED
    two.parts = usable
    two.night()
    assert two.answer() is Answer.CONFORMITY


def test_while_the_original_is_away_a_sample_is_held_against_what_the_copy_lists(two: Boxes) -> None:
    two.night()
    two.away.add("kestrel")
    read = len(two.asked)
    known = two.night()
    assert known.last is not None
    assert (known.last.same, known.last.fallen) == (ASKED, 0)
    assert two.answer() is Answer.CONFORMITY

    two.disks["heron"] = {path: file.rewritten(b"x" * 64) for path, file in two.copy.items()}
    known = two.night()
    assert known.last is not None
    assert (known.last.same, known.last.fallen) == (0, ASKED)
    assert two.answer() is Answer.UNVERIFIED
    assert len(two.asked) == read  # nothing can be read on both sides
    two.away.clear()
    two.night()
    assert two.answer() is Answer.NONCONFORMITY
