"""Content of a copy that spells names otherwise: it is read where it lies there, and no sample passes it by."""

from __future__ import annotations

import unicodedata
from pathlib import Path

import pytest

from coverage_audit.audits.verifying import Wish
from coverage_audit.judgement.verdict import Answer, Conclusion, Standing
from tests.builders.trees import flip
from tests.builders.two_places import two_places
from tests.parts.content import COPY, NAME, ORIGINAL, VERIFY, content_of, night, verified_of
from tests.parts.sshd import StartSshd
from tests.parts.station import Station, copy_of, dataset_of
from tests.parts.two_boxes import reached

FILES = 40


@pytest.fixture(params=["local", "ssh"])
def way(request: pytest.FixtureRequest) -> str:
    """How the copy's box is reached."""
    if request.param == "local":
        return "local"
    start: StartSshd = request.getfixturevalue("start_sshd")
    return reached(start())


def spelled(station: Station, way: str = "local") -> list[Path]:
    """Half of the recordings have names that the copy holds in decomposed form; return those files of the copy."""
    station.declare(two_places(access=way).replace("max_age: 26h}", f"max_age: 26h, {VERIFY}}}"))
    for number in range(FILES):
        name = f"take-{number:02d}.flac" if number % 2 else f"prise-\u00e9-{number:02d}.flac"
        station.write(f"{ORIGINAL}/{name}", f"take {number:04d}".encode() * 9)
    station.mirror(ORIGINAL, COPY)
    return [
        file.rename(file.with_name(unicodedata.normalize("NFD", file.name)))
        for file in sorted((station.root / COPY).iterdir())
        if "\u00e9" in file.name
    ]


def test_a_sample_meets_what_is_spelled_otherwise(station: Station, way: str) -> None:
    there = spelled(station, way)
    audited = night(station)
    last = verified_of(audited).last
    assert last is not None
    assert (last.same, last.wanting, last.same + last.beside) == (38, 0, FILES)
    assert dataset_of(audited, NAME).conclusion is Conclusion.CONFORMING

    flip(there[3])
    audited = night(station, Wish(now=True))
    (spoilt,) = verified_of(audited).spoilt
    assert spoilt.path.decode() == unicodedata.normalize("NFC", there[3].name)
    assert copy_of(audited, NAME).standing is Standing.DAMAGED
    flip(there[3])
    assert verified_of(night(station, Wish(now=True))).spoilt_files == 0


def test_reading_all_passes_by_nothing_that_the_copy_spells_otherwise(station: Station) -> None:
    there = spelled(station)
    twin = there[0].with_name(there[0].name.replace("prise", "Prise"))
    twin.write_bytes(there[0].read_bytes())  # which of the two it is cannot be told: it is not shown
    audited = night(station, Wish(now=True, all=True))
    whole = verified_of(audited).whole

    assert whole is not None
    assert (whole.same.files, whole.not_shown, whole.ended is not None) == (FILES - 1, 1, True)
    assert content_of(audited).answer is Answer.UNVERIFIED  # whether the sample of 38 of these 40 met it or not


def test_a_drill_reads_back_what_the_copy_spells_otherwise(station: Station, way: str) -> None:
    there = spelled(station, way)
    station.night()
    ran = station.called("drill", NAME, "--files", "100", "--json")
    assert (ran.status, ran.object["restored"]["files"], ran.object["chosen"]) == (0, FILES, FILES), ran

    flip(there[5])
    ran = station.called("drill", NAME, "--path", unicodedata.normalize("NFC", there[5].name), "--json")
    assert (ran.status, ran.object["damaged"]["files"]) == (1, 1), ran
