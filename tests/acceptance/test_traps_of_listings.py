"""Ways in which listings say "covered" while it is not: cut, kept from yesterday, blind, or folded together."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import unicodedata
from datetime import timedelta

import pytest

from coverage_audit.judgement.verdict import Answer, Conclusion, Standing
from tests.acceptance.test_a_mirror_that_stopped import ESTATE
from tests.acceptance.test_boxes_that_fail import declare
from tests.parts.processes import descendants
from tests.parts.sshd import Box, StartSshd
from tests.parts.station import ORDINARY, Station, copy_of, dataset_of
from tests.parts.two_boxes import ESTATE as TWO_BOXES
from tests.parts.two_boxes import reached

DAY = timedelta(days=1)


@pytest.fixture
def mirrored(station: Station) -> Station:
    for number in range(400):
        station.write(f"kestrel/recordings/{number % 5}/take-{number:03}.wav", bytes(100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    station.mirror("kestrel/recordings", "curlew/recordings")
    return station


def switch_off(box: Box) -> None:
    for number in [*descendants(box.pid), box.pid]:
        with contextlib.suppress(ProcessLookupError):
            os.kill(number, signal.SIGKILL)


def wrapped_find(station: Station, start_sshd: StartSshd, wrapper: str) -> Box:
    """A box whose `find` is a script; what it is given stands in "$@"."""
    tool = station.write("tools/find", f"#!/bin/sh\n{wrapper}\n")
    tool.chmod(0o755)
    login = station.write("login", f'#!/bin/sh\nPATH={tool.parent}:$PATH exec sh -c "$SSH_ORIGINAL_COMMAND"\n')
    login.chmod(0o755)
    return start_sshd(f"ForceCommand {login}")


# A record ends with every second NUL: what comes is made of whole records, and only `find` says that it is not all.
@pytest.mark.parametrize(
    "wrapper",
    [
        '/usr/bin/find "$@" | head -z -n 402; exit 1',
        '/usr/bin/find "$@" | head -z -n 402; kill -9 $$',
        '/usr/bin/find "$@"; exit 3',
    ],
)
def test_a_listing_whose_maker_did_not_end_well_is_no_small_tree(
    mirrored: Station, start_sshd: StartSshd, wrapper: str
) -> None:
    declare(mirrored, wrapped_find(mirrored, start_sshd, wrapper))

    audited = mirrored.night()

    heron = copy_of(audited, "field-recordings")
    assert heron.standing is Standing.UNVERIFIED
    assert heron.comparison is None
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


def test_a_listing_cut_in_a_record_is_no_small_tree_however_well_it_seems_to_have_ended(
    mirrored: Station, start_sshd: StartSshd
) -> None:
    declare(mirrored, wrapped_find(mirrored, start_sshd, '/usr/bin/find "$@" | head -c 5000'))

    heron = copy_of(mirrored.night(), "field-recordings")

    assert heron.standing is Standing.UNVERIFIED
    assert heron.comparison is None


def test_a_listing_of_an_original_that_was_cut_is_no_smaller_original(mirrored: Station, start_sshd: StartSshd) -> None:
    declare(mirrored, wrapped_find(mirrored, start_sshd, '/usr/bin/find "$@" | head -z -n 42; exit 1'))
    text = mirrored.estate_file.read_text()
    swapped = {"kestrel:main/recordings": "heron:pool/recordings", "heron:pool/recordings": "kestrel:main/recordings"}
    mirrored.estate_file.write_text(re.sub("|".join(swapped), lambda place: swapped[place.group()], text))

    audited = mirrored.night()

    assert dataset_of(audited, "field-recordings").original.standing is Standing.UNVERIFIED
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


def test_yesterdays_listing_does_not_stand_in_for_todays(mirrored: Station, box: Box) -> None:
    declare(mirrored, box)
    assert mirrored.night().judged.conclusion is Conclusion.CONFORMING
    switch_off(box)
    mirrored.pass_time(DAY)

    audited = mirrored.night()

    heron = copy_of(audited, "field-recordings")
    assert heron.standing is Standing.UNVERIFIED
    assert heron.comparison is None
    age = next(
        f for f in dataset_of(audited, "field-recordings").findings if f.rule == "evidence-age" and "heron" in f.subject
    )
    assert age.answer is Answer.UNVERIFIED
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


@pytest.mark.root
def test_folders_that_an_account_over_ssh_may_not_read_on_both_sides_are_not_equally_empty(
    mirrored: Station, start_sshd: StartSshd
) -> None:
    login = mirrored.write("login", f'#!/bin/sh\nexec {" ".join(ORDINARY)} sh -c "$SSH_ORIGINAL_COMMAND"\n')
    login.chmod(0o755)
    box = start_sshd(f"ForceCommand {login}")
    mirrored.declare("    rehearsal: true" + TWO_BOXES % two_names_of(box))
    for side in ("kestrel/recordings", "heron/recordings"):
        (mirrored.root / side / "3").chmod(0)

    audited = mirrored.night()

    original = dataset_of(audited, "field-recordings").original
    assert original.standing is Standing.UNVERIFIED
    assert "“3”" in original.reason
    assert copy_of(audited, "field-recordings").standing is Standing.UNVERIFIED
    assert audited.judged.conclusion is not Conclusion.CONFORMING


def two_names_of(box: Box) -> dict[str, str]:
    return {"kestrel": reached(box), "heron": reached(box), "more": "", "stored": "", "site": "barn"}


FOLDING = [("Nightjar.wav", "nightjar.wav"), (unicodedata.normalize("NFC", "Éirigh.wav"), "E\u0301irigh.wav")]


@pytest.mark.parametrize(("first", "second"), FOLDING)
def test_two_names_that_a_target_folds_into_one_are_two_files(station: Station, first: str, second: str) -> None:
    # What a target that knows no case, or only one form of an accent, keeps of two files: one (common practice).
    station.declare(ESTATE)
    for number in range(20):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number), age=40 * DAY)
    station.write(f"kestrel/recordings/{first}", bytes(77), age=41 * DAY)
    station.write(f"kestrel/recordings/{second}", bytes(77), age=41 * DAY)
    station.mirror("kestrel/recordings", "heron/recordings")
    station.night()
    (station.root / f"heron/recordings/{second}").unlink()
    station.pass_time(DAY)

    audited = station.night()

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.INCOMPLETE
    assert copy.comparison is not None
    assert copy.comparison.missing.files == 1
    assert [row.path for row in copy.comparison.samples if row.row_class == "missing"] == [second.encode()]
