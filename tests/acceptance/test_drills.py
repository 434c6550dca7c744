"""Files read back out of copies with real boxes: what comes back is right or damaged, and how fast it comes is told."""

from __future__ import annotations

from datetime import timedelta

import pytest

from coverage_audit.evidence.drilling import DrillOutcome
from coverage_audit.judgement.verdict import Answer, Conclusion, Standing
from tests.builders.drilled_station import (
    NAMES,
    PIECE,
    assert_nothing_is_left,
    declare,
    drilled,
    fill,
    recorded,
)
from tests.builders.trees import flip
from tests.parts.gates import force_gate, install_gate
from tests.parts.loops import MakeVolume
from tests.parts.sftp_only import StartSftpOnly
from tests.parts.slow_line import StartSlowLine
from tests.parts.sshd import StartSshd
from tests.parts.station import Station, copy_of, dataset_of
from tests.parts.two_boxes import reached


@pytest.fixture(params=["local", "ssh", "sftp only", "installed gate"])
def way(request: pytest.FixtureRequest, station: Station) -> str:
    """The copy's box, reached in each of the ways that there are; how that is said."""
    if request.param == "local":
        fill(station)
        return "on this machine"
    if request.param == "sftp only":
        start_sftp: StartSftpOnly = request.getfixturevalue("start_sftp_only")
        fill(station, reached(start_sftp()))
        return "over SFTP"
    start: StartSshd = request.getfixturevalue("start_sshd")
    box = start()
    if request.param == "installed gate":
        heron = station.root / "heron"
        force_gate(box, install_gate(station.root / "lib", f"root {heron}\nsend {heron}\n"))
    fill(station, reached(box))
    return "over SSH, sent by the gate"


def test_every_file_comes_back_and_one_flipped_bit_is_found_and_read_again_until_it_is_mended(
    station: Station, way: str
) -> None:
    ran = drilled(station, "--files", "100", "--json")
    assert ran.status == 0, ran
    told = ran.object
    whole = sum(1000 * number + 1 for number in range(len(NAMES))) + 3 * PIECE
    assert (told["outcome"], told["way"]) == ("restored", way)
    assert told["restored"] == {"files": 10, "bytes": whole}
    assert (told["chosen"], told["held"], told["held_against_originals"], told["read_bytes"]) == (10, 10, 10, whole)
    assert told["bytes_per_second"] > 100_000

    flip(station.root / "heron/recordings/long-1.wav")
    ran = drilled(station, "--files", "100", "--json")
    assert ran.status == 1, ran
    assert ran.object["damaged"] == {"files": 1, "bytes": PIECE}
    assert [(one["path"], one["fate"]) for one in ran.object["incidents"]] == [("long-1.wav", "damaged")]
    assert drilled(station, "--path", "plain.wav").status == 1, "what was damaged is read again with every drill"

    station.mirror("kestrel/recordings", "heron/recordings", "--checksum")
    ran = drilled(station, "--path", "plain.wav")
    assert ran.status == 0, ran
    assert [drill.outcome for drill in recorded(station)] == [
        DrillOutcome.RESTORED, DrillOutcome.DAMAGED, DrillOutcome.DAMAGED, DrillOutcome.RESTORED,
    ]  # fmt: skip
    assert_nothing_is_left(station)


@pytest.mark.root
@pytest.mark.parametrize("kind", ["local", "ssh"])
def test_a_bit_that_flipped_on_the_drive_is_found_though_memory_holds_the_file_as_it_was(
    station: Station, make_volume: MakeVolume, start_sshd: StartSshd, kind: str
) -> None:
    volume = make_volume(station.root / "heron", size=128)
    fill(station, *([reached(start_sshd())] if kind == "ssh" else []))
    volume.flip(station.root / "heron/recordings/long-1.wav")

    ran = drilled(station, "--path", "long-1.wav", "--json")

    assert ran.status == 1, ran
    assert [(one["path"], one["fate"]) for one in ran.object["incidents"]] == [("long-1.wav", "damaged")]


@pytest.mark.parametrize("kind", ["ssh", "sftp only"])
def test_the_rate_is_what_the_link_gives(
    station: Station, request: pytest.FixtureRequest, slow_line: StartSlowLine, kind: str
) -> None:
    """A link of 4 MB a second: never more than that, and no less than a third of it."""
    start = request.getfixturevalue("start_sshd" if kind == "ssh" else "start_sftp_only")
    box, link = start(), 4_000_000
    fill(station, reached(box), longs=2)
    declare(station, reached(box, slow_line(box.port, link)))
    ran = drilled(station, "--files", "100", "--json")
    assert ran.status == 0, ran
    assert link / 3 < ran.object["bytes_per_second"] < 1.1 * link


def test_a_drill_meets_the_policy_until_it_is_too_old_and_makes_the_copy_restored(station: Station) -> None:
    fill(station, every="180d")
    before = dataset_of(station.night(), "field-recordings")
    assert before.conclusion is Conclusion.NONCONFORMING
    assert drilled(station).status == 0

    audited = station.night()
    dataset = dataset_of(audited, "field-recordings")
    (finding,) = (found for found in dataset.findings if found.rule == "drill-age")
    assert finding.answer is Answer.CONFORMITY
    assert copy_of(audited, "field-recordings").proof.word == "restored"
    assert copy_of(audited, "field-recordings").drill.startswith(f"{station.now():%Y-%m-%d}, 10 of 10 files restored")

    station.pass_time(timedelta(days=181))
    station.mirror("kestrel/recordings", "heron/recordings")
    (finding,) = (f for f in dataset_of(station.night(), "field-recordings").findings if f.rule == "drill-age")
    assert finding.answer is Answer.NONCONFORMITY
    assert "it was last read back 181 days ago" in finding.message


def test_a_copy_that_a_drill_found_damaged_is_damaged_in_the_next_audit_whatever_the_policy_asks(
    station: Station,
) -> None:
    fill(station)
    flip(station.root / "heron/recordings/long-0.wav")
    assert copy_of(station.night(), "field-recordings").standing is Standing.PROVEN, "no listing shows it"
    assert drilled(station, "--path", "long-0.wav").status == 1

    copy = copy_of(station.night(), "field-recordings")

    assert copy.standing is Standing.DAMAGED
    assert "found 1 of 1 file damaged: “long-0.wav”" in copy.reason


def test_what_a_person_says_to_have_restored_is_noted_and_is_no_proof(station: Station) -> None:
    fill(station, every="180d")
    ran = drilled(station, "--by-hand", "--who", "R. Byrne", "--what", "the spring of 2024, played")
    assert ran.status == 0, ran
    assert "declared, not measured" in ran.out

    audited = station.night()

    (finding,) = (f for f in dataset_of(audited, "field-recordings").findings if f.rule == "drill-age")
    assert finding.answer is Answer.UNVERIFIED
    assert "by word of R. Byrne (declared, not measured): the spring of 2024, played" in finding.message
    assert copy_of(audited, "field-recordings").proof.word == "listed"


@pytest.mark.parametrize(
    "words",
    [
        ("--by-hand", "--who", "R. Byrne"),
        ("--by-hand", "--who", " ", "--what", "all"),
        ("--by-hand", "--who", "R. Byrne", "--what", "all", "--files", "3"),
        ("--by-hand", "--who", "R. Byrne", "--what", "all", "--on", "2999-01-01"),
        ("--by-hand", "--who", "R. Byrne", "--what", "all", "--on", "yesterday"),
        ("--who", "R. Byrne"),
        ("--files", "0"),
        ("--files", "3", "--path", "plain.wav"),
        ("--path", "/etc/passwd"),
        ("--path", "../heron/recordings/plain.wav"),
        ("--path", "a b/../plain.wav"),
        ("--path", "./plain.wav"),
        ("--path", ""),
        ("--path", "nothing.wav"),
        ("--path", "a b"),
        ("--copy", "heron:pool/elsewhere"),
        ("--copy", "kestrel:main/recordings"),
        ("--scratch", "/nowhere"),
        ("--by-hand", "--who", "Aoife", "--what", "all of it", "--on", "0001-01-01"),
    ],
)
def test_words_that_make_no_sense_and_paths_that_lead_elsewhere_are_refused(
    filled: Station, words: tuple[str, ...]
) -> None:
    ran = drilled(filled, *words)
    assert ran.status == 64, ran
    assert recorded(filled) == ()


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Station:
    """A station that no test changes."""
    station = Station(root=tmp_path_factory.mktemp("station"))
    fill(station)
    return station
