"""Content of copies that are no plain mirror: dated folders, and a shelf drive while it is plugged in."""

from __future__ import annotations

import os
import shutil
from datetime import timedelta

import pytest

from coverage_audit.audits.verifying import Wish
from coverage_audit.estate.model import Proof
from coverage_audit.judgement.verdict import Answer, Standing
from tests.builders.trees import flip
from tests.builders.two_places import two_places
from tests.parts.content import COPY, NAME, ORIGINAL, VERIFY, content_of, night, verified_of
from tests.parts.loops import MakeVolume
from tests.parts.sshd import StartSshd
from tests.parts.station import Station, copy_of
from tests.parts.two_boxes import reached

ALL = Wish(now=True, all=True)
A_DAY = timedelta(days=1)
POINTS = '{at: "heron:pool/points/{point}/recordings", points: {folders: "%Y-%m-%dT%H%MZ"}}'

ON_THE_SHELF = """
    rehearsal: true
    sites:
      station: {name: Field station}
      barn: {name: Long Barn}
    devices:
      kestrel:
        site: station
        access: local
        volumes: {main: {path: "{root}/kestrel", medium: hdd}}
      shelf-b:
        site: barn
        access: shelf
        volumes: {drive: {medium: ssd, offline: true}}
    policies:
      careful: {copies: 2, max_age: 26h}
    datasets:
      field-recordings:
        policy: careful
        original: kestrel:main/recordings
        copies: [{at: shelf-b:drive/recordings, max_age: 60d}]
"""


def a_point(station: Station, *, of: str = ORIGINAL) -> str:
    """Make a dated folder of what the original holds now; return it."""
    name = f"{station.now() - timedelta(hours=1):%Y-%m-%dT%H%MZ}"
    folder = f"heron/points/{name}/recordings"
    shutil.copytree(station.root / of, station.root / folder, copy_function=shutil.copy2)
    return folder


def test_the_newest_point_of_a_dated_copy_is_read_and_the_next_one_anew(station: Station) -> None:
    station.declare(two_places(copies=(POINTS,)).replace("max_age: 26h}", f"max_age: 26h, {VERIFY}}}"))
    for number in range(60):
        station.write(f"{ORIGINAL}/{number:03d}.flac", f"take {number}".encode())
    a_point(station)
    first = night(station)

    assert copy_of(first, NAME).proof is Proof.SAMPLED
    assert content_of(first).answer is Answer.CONFORMITY
    station.pass_time(A_DAY)
    folder = a_point(station)
    flip(station.root / folder / "007.flac")
    (spoilt,) = verified_of(night(station, ALL)).spoilt
    assert (spoilt.path, spoilt.harm.value) == (
        b"007.flac",
        "differs",
    )  # another file than that of the point before
    station.pass_time(A_DAY)
    a_point(station)
    third = night(station, ALL)
    assert verified_of(third).spoilt_files == 0  # the newest point is right
    assert copy_of(third, NAME).standing is Standing.PROVEN


def test_a_sample_of_the_point_before_does_not_speak_for_a_new_one(station: Station) -> None:
    station.declare(two_places(copies=(POINTS,)).replace("max_age: 26h}", f"max_age: 26h, {VERIFY}}}"))
    for number in range(60):
        station.write(f"{ORIGINAL}/{number:03d}.flac", f"take {number}".encode())
    a_point(station)
    assert content_of(night(station)).answer is Answer.CONFORMITY
    station.pass_time(A_DAY)
    folder = a_point(station)
    for number in range(60):
        flip(station.root / folder / f"{number:03d}.flac")
    second = night(station)  # nothing is due, and nobody asks for a reading

    assert content_of(second).answer is Answer.NONCONFORMITY
    assert copy_of(second, NAME).standing is Standing.DAMAGED


@pytest.mark.root
def test_a_shelf_drive_is_read_by_way_of_the_box_that_it_hangs_on_and_its_statement_stays_with_it(
    station: Station, make_volume: MakeVolume
) -> None:
    make_volume(station.root / "kestrel")
    drive = make_volume(station.root / "plugged")
    for number in range(40):
        station.write(f"{ORIGINAL}/{number:03d}.flac", f"take {number}".encode())
    station.mirror(ORIGINAL, "plugged/recordings")
    station.declare(ON_THE_SHELF.replace("careful: {", f"careful: {{{VERIFY}, "))
    words = ("manifest", str(station.root / "plugged/recordings"), "--for", "shelf-b:drive/recordings")
    assert station.command(*words).status == 0
    audited = night(station)

    assert content_of(audited, "shelf-b").answer is Answer.CONFORMITY
    assert copy_of(audited, NAME).proof is Proof.SAMPLED
    drive.unmount()
    station.pass_time(10 * A_DAY)
    unplugged = night(station)
    assert content_of(unplugged, "shelf-b").answer is Answer.CONFORMITY
    station.pass_time(21 * A_DAY)
    late = night(station)
    assert content_of(late, "shelf-b").answer is Answer.UNVERIFIED
    assert "was last read" in content_of(late, "shelf-b").message


def test_hard_linked_points_are_read_again_where_their_ctime_says_that_something_was_done(station: Station) -> None:
    station.declare(two_places(copies=(POINTS,)).replace("max_age: 26h}", f"max_age: 26h, {VERIFY}}}"))
    for number in range(20):
        station.write(f"{ORIGINAL}/{number:03d}.flac", f"take {number}".encode())
    first = a_point(station)
    night(station, ALL)
    station.pass_time(A_DAY)
    name = f"{station.now() - timedelta(hours=1):%Y-%m-%dT%H%MZ}"
    second = station.root / f"heron/points/{name}/recordings"
    shutil.copytree(station.root / first, second, copy_function=os.link)
    flip(second / "007.flac")  # in all points at once
    (spoilt,) = verified_of(night(station, ALL)).spoilt
    assert spoilt.path == b"007.flac"


def test_while_the_original_is_off_a_sample_speaks_for_what_it_read_and_for_no_copy_that_was_replaced(
    station: Station, start_sshd: StartSshd
) -> None:
    def declare(access: str) -> None:
        text = two_places().replace("max_age: 26h}", f"max_age: 60h, {VERIFY}}}")
        station.declare(text.replace("access: local", f"may_be_off: 3d\n    access: {access}", 1))

    box = start_sshd()
    for number in range(60):
        station.write(f"{ORIGINAL}/{number:03d}.flac", f"take {number}".encode())
    station.mirror(ORIGINAL, COPY)
    declare(reached(box))
    night(station)
    declare(reached(box, 1))  # nobody answers there
    station.pass_time(A_DAY)
    assert content_of(night(station)).answer is Answer.CONFORMITY
    for file in (station.root / COPY).iterdir():
        flip(file)
    replaced = night(station)

    assert content_of(replaced).answer is Answer.UNVERIFIED
    assert copy_of(replaced, NAME).proof is not Proof.SAMPLED
