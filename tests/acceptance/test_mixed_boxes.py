"""Whole audits of boxes that have no GNU tools: one with BusyBox alone, one that offers its files over SFTP alone."""

from __future__ import annotations

from datetime import timedelta

import pytest

from coverage_audit.judgement.verdict import Conclusion, Standing
from tests.acceptance.test_independence import ATTESTED
from tests.parts.busybox import StartBusybox
from tests.parts.sftp_only import StartSftpOnly
from tests.parts.station import Station, copy_of, dataset_of
from tests.parts.two_boxes import declare, reached

pytestmark = pytest.mark.root

DAY = timedelta(days=1)


@pytest.fixture
def mixed(two_volumes: Station, start_busybox: StartBusybox, start_sftp_only: StartSftpOnly) -> Station:
    """The original on a box with BusyBox alone, its copy on one with SFTP alone; the owner attests that they differ."""
    declare(two_volumes, reached(start_busybox("kestrel")), reached(start_sftp_only()), more=ATTESTED)
    return two_volumes


def test_a_dataset_that_is_held_conforms(mixed: Station) -> None:
    audited = mixed.night()

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.PROVEN, copy.reason
    assert dataset_of(audited, "field-recordings").conclusion is Conclusion.CONFORMING
    assert copy.comparison is not None
    assert copy.comparison.same.files == 6


def test_what_is_lost_is_missing(mixed: Station) -> None:
    mixed.night()
    (mixed.root / "heron/recordings/take-3.wav").unlink()
    mixed.pass_time(3 * DAY)

    audited = mixed.night()

    assert copy_of(audited, "field-recordings").standing is Standing.INCOMPLETE
    assert dataset_of(audited, "field-recordings").conclusion is Conclusion.NONCONFORMING


def test_without_the_owners_word_such_a_box_is_not_shown_apart(
    two_volumes: Station, start_busybox: StartBusybox, start_sftp_only: StartSftpOnly
) -> None:
    declare(two_volumes, reached(start_busybox("kestrel")), reached(start_sftp_only()))

    audited = two_volumes.night()

    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    assert dataset_of(audited, "field-recordings").conclusion is Conclusion.UNVERIFIED


def test_a_copy_on_a_box_with_sftp_alone_that_is_gone_is_no_empty_copy(mixed: Station) -> None:
    mixed.night()
    (mixed.root / "heron/recordings").rename(mixed.root / "heron/elsewhere")

    audited = mixed.night()

    assert copy_of(audited, "field-recordings").standing is not Standing.PROVEN
    assert dataset_of(audited, "field-recordings").conclusion is not Conclusion.CONFORMING


def test_an_original_on_a_box_that_shows_no_clock_dates_nothing_but_lists_all(
    two_volumes: Station, start_busybox: StartBusybox, start_sftp_only: StartSftpOnly
) -> None:
    declare(two_volumes, reached(start_sftp_only()), reached(start_busybox("heron")), more=ATTESTED)

    copy = copy_of(two_volumes.night(), "field-recordings")

    assert copy.comparison is not None
    assert copy.comparison.same.files == 6
    assert copy.standing is Standing.UNVERIFIED
    assert copy.reason == "the clock of kestrel was not shown"
