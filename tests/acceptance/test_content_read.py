"""Content that is read: a bit that flipped is found, told apart from an edit, and gone on with over the nights."""

from __future__ import annotations

import json
from datetime import timedelta

import jsonschema

from coverage_audit.audits.verifying import Wish
from coverage_audit.estate.model import Proof
from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.evidence.verified import Harm
from coverage_audit.judgement.verdict import Answer, Conclusion, Standing
from tests.builders.trees import flip
from tests.parts.content import COPY, NAME, ORIGINAL, a_station, content_of, night, verified_of
from tests.parts.station import Station, copy_of, dataset_of, failing_rules

A_DAY = timedelta(days=1)
ALL = Wish(now=True, all=True)


def test_a_sample_is_read_and_says_what_it_shows(station: Station) -> None:
    audited = night(a_station(station))

    copy, finding = copy_of(audited, NAME), content_of(audited)
    assert finding.answer is Answer.CONFORMITY
    assert "with 95 % confidence fewer than 1 % of these 400 files differ" in finding.message
    assert "no part of what it says" in finding.message  # what was read beside it
    assert copy.proof is Proof.SAMPLED
    assert copy.standing is Standing.PROVEN
    assert dataset_of(audited, NAME).conclusion is Conclusion.CONFORMING


def test_proof_sampled_is_judged_and_without_a_sample_it_is_not_reached(station: Station) -> None:
    a_station(station, policy="proof: sampled", limits="{content_time: 30min}")
    estate = station.estate
    refused = night(station, usable_digests=lambda _: ())

    assert copy_of(refused, NAME).standing is Standing.UNVERIFIED
    assert "its content was not read yet" in copy_of(refused, NAME).reason
    assert dataset_of(refused, NAME).conclusion is Conclusion.UNVERIFIED
    assert estate.policies[0].verify is None
    audited = night(station)
    assert copy_of(audited, NAME).standing is Standing.PROVEN
    assert dataset_of(audited, NAME).conclusion is Conclusion.CONFORMING


def test_one_bit_in_one_of_two_thousand_files_is_found_by_reading_all(station: Station) -> None:
    a_station(station, files=2_000)
    night(station)
    flip(station.root / COPY / "13" / "01313.flac")
    station.pass_time(A_DAY)
    audited = night(station, ALL)

    finding, known = content_of(audited), verified_of(audited)
    assert finding.answer is Answer.NONCONFORMITY
    assert not finding.waivable
    assert "“13/01313.flac”" in finding.message
    assert known.whole is not None
    assert (known.whole.same.files, known.whole.differing, known.whole.ended is None) == (1_999, 1, False)
    assert copy_of(audited, NAME).standing is Standing.DAMAGED
    assert "content" in failing_rules(audited, NAME)
    station.pass_time(A_DAY)
    assert copy_of(night(station), NAME).standing is Standing.DAMAGED  # it is not forgotten overnight


def test_a_spoilt_file_that_is_brought_back_is_read_again_and_forgotten(station: Station) -> None:
    a_station(station, files=300)
    flip(station.root / COPY / "01" / "00111.flac")
    assert copy_of(night(station, ALL), NAME).standing is Standing.DAMAGED

    (station.root / COPY / "01" / "00111.flac").unlink()
    station.mirror(ORIGINAL, COPY)
    station.pass_time(A_DAY)
    audited = night(station)
    assert copy_of(audited, NAME).standing is Standing.PROVEN
    assert verified_of(audited).spoilt_files == 0
    assert content_of(audited).answer is Answer.CONFORMITY  # by a new sample: the old one counts what was mended


def test_a_sample_that_met_a_spoilt_file_counts_it_though_only_that_file_was_mended(station: Station) -> None:
    """Mending what a sample happened to meet must not make the rest look better: the others are spoilt still."""
    a_station(station, files=300)
    for number in range(0, 300, 2):
        flip(station.root / COPY / f"{number // 100:02d}" / f"{number:05d}.flac")
    first = verified_of(night(station))
    assert first.last is not None
    assert first.last.differing > 50
    for one in first.spoilt:
        (station.root / COPY / one.path.decode()).unlink()
    station.mirror(ORIGINAL, COPY)
    station.pass_time(A_DAY)
    second = night(station)

    last = verified_of(second).last
    assert last is not None
    assert last.differing >= first.last.differing  # the same sample, as some of it is spoilt still
    assert content_of(second).answer is Answer.NONCONFORMITY


def test_an_edit_is_no_damage_and_no_decay(station: Station) -> None:
    a_station(station)
    night(station, ALL)
    station.write(f"{ORIGINAL}/01/00111.flac", "another take", age=timedelta(hours=1))
    station.mirror(ORIGINAL, COPY)
    station.pass_time(A_DAY)
    audited = night(station, ALL)

    assert content_of(audited).answer is Answer.CONFORMITY
    assert verified_of(audited).spoilt_files == 0
    assert dataset_of(audited, NAME).original.evidence.spoilt_files == 0


def test_a_file_that_was_written_to_in_the_copy_and_its_time_put_back_is_named_so(station: Station) -> None:
    a_station(station)
    night(station, ALL)
    flip(station.root / COPY / "01" / "00111.flac")
    station.pass_time(A_DAY)
    (spoilt,) = verified_of(night(station, ALL)).spoilt

    assert (spoilt.path, spoilt.harm) == (b"01/00111.flac", Harm.REWRITTEN)


def test_a_copy_whose_content_is_replaced_with_sizes_and_times_put_back_is_met_in_the_next_audit(
    station: Station,
) -> None:
    a_station(station)
    assert copy_of(night(station), NAME).proof is Proof.SAMPLED
    for file in (station.root / COPY).rglob("*.flac"):
        flip(file)
    station.pass_time(A_DAY)
    audited = night(station)

    assert content_of(audited).answer is Answer.NONCONFORMITY
    assert dataset_of(audited, NAME).conclusion is Conclusion.NONCONFORMING


def test_the_command_reads_now_and_prints_what_it_found(station: Station) -> None:
    a_station(station, policy="proof: listed")
    done = station.command("verify", NAME, "--json")

    assert done.status == 0, done.err
    schema = json.loads((defaults_folder() / "verify.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(done.object, schema)
    (copy,) = done.object["datasets"][0]["copies"]
    assert "fewer than 1 % of these 400 files differ" in copy["content"]["statement"]
    flip(station.root / COPY / "01" / "00111.flac")
    done = station.command("verify", "--all")
    assert done.status == 1
    assert "00111.flac" in done.out
    assert station.command("verify", "no-such").status == 64
