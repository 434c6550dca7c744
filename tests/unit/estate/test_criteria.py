"""Criteria with parts of their own, as the owner writes them."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from coverage_audit.estate.criteria import Keep, Rhythm, Verify
from coverage_audit.estate.hardware import Parity, ParityKind
from coverage_audit.estate.model import DeviceId, Policy
from tests.builders.estate_file import SMALL, mistakes, read, spoiled


def policy(folder: Path, asked: str) -> Policy:
    return read(folder, spoiled("max_age: 26h}", f"max_age: 26h, {asked}}}")).policies[0]


@pytest.mark.parametrize(
    ("asked", "keep", "said"),
    [
        ("{daily: 7, weekly: 4, monthly: 12}", Keep(daily=7, weekly=4, monthly=12), "daily: 7, weekly: 4, monthly: 12"),
        ("{yearly: 3}", Keep(yearly=3), "yearly: 3"),
        ("{span: 14d}", Keep(span=timedelta(days=14)), "span: 14 days"),
        ("{daily: 2, span: PT36H}", Keep(daily=2, span=timedelta(hours=36)), "daily: 2, span: 36 h"),
    ],
)
def test_what_is_to_be_kept_is_read_and_said(tmp_path: Path, asked: str, keep: Keep, said: str) -> None:
    found = policy(tmp_path, f"keep: {asked}").keep

    assert found == keep
    assert str(found) == said


@pytest.mark.parametrize(
    ("asked", "rhythm", "said"),
    [
        ("1d", Rhythm(every=timedelta(days=1)), "every 24 h"),
        ("weekly", Rhythm(every=timedelta(weeks=1)), "every 7 days"),
        ("monthly", Rhythm(monthly=True), "monthly"),
        ("learned", Rhythm(), "learned"),
        ("{every: 6h}", Rhythm(every=timedelta(hours=6)), "every 6 h"),
        (
            "{every: daily, quiet: [Sun, Sat], tolerance: 8h}",
            Rhythm(every=timedelta(days=1), quiet=frozenset({5, 6}), tolerance=timedelta(hours=8)),
            "every 24 h; quiet: Sat, Sun; tolerance: 8 h",
        ),
        ("{every: learned, quiet: [Fri]}", Rhythm(quiet=frozenset({4})), "learned; quiet: Fri"),
    ],
)
def test_a_rhythm_is_read_from_a_text_or_from_its_parts(tmp_path: Path, asked: str, rhythm: Rhythm, said: str) -> None:
    found = policy(tmp_path, f"rhythm: {asked}").rhythm

    assert found == rhythm
    assert str(found) == said


def test_the_size_of_a_dump_is_a_share(tmp_path: Path) -> None:
    assert policy(tmp_path, "dump_size: 50%").dump_size == 0.5
    assert policy(tmp_path, 'dump_size: "12.5 %"').dump_size == 0.125


@pytest.mark.parametrize(
    ("asked", "mistake"),
    [
        ("keep: {}", "'keep' asks for nothing"),
        ("keep: {dayly: 7}", "unknown key 'dayly' (did you mean 'daily'?)"),
        ("keep: {daily: 0}", "0"),
        ("keep: 14d", "14d"),
        ("rhythm: fortnightly", "'fortnightly'"),
        ("rhythm: 5s", "write at least 1min"),
        ("rhythm: {quiet: [Sat]}", "'every' is missing"),
        ("rhythm: {every: 1d, quiet: [Saturday]}", "weekday"),
        ("rhythm: {every: 1d, quiet: [Mon, Tue, Wed, Thu, Fri, Sat, Sun]}", "7"),
        ("dump_size: 50", "no share"),
        ("dump_size: 100%", "less than 100%"),
        ("dump_size: 0%", "more than 0%"),
    ],
)
def test_a_mistake_in_them_is_told(tmp_path: Path, asked: str, mistake: str) -> None:
    (told,) = mistakes(tmp_path, spoiled("max_age: 26h}", f"max_age: 26h, {asked}}}"))

    assert told.startswith("18:")
    assert mistake in told


def test_what_a_volume_is_made_of_and_how_a_device_is_reached_are_read(tmp_path: Path) -> None:
    drives = "drives: [{size: 4 TB, count: 2}, {size: 8 TB, in_service: 2024-02-29}]"
    made = f"{{path: /srv/main, medium: hdd, {drives}, parity: {{kind: dedicated, drives: 2}}}}"
    text = SMALL.replace("{path: /srv/main, medium: hdd}", made)
    reached = "    site: barn\n    link: 2.5 Gbit/s\n    fetch_time: 4h\n"
    estate = read(tmp_path, text.replace("    site: barn\n", reached))
    (volume,) = estate.device(DeviceId("kestrel")).volumes
    assert [drive.size for drive in volume.drives] == [4 * 10**12, 4 * 10**12, 8 * 10**12]
    assert volume.drives[2].in_service == date(2024, 2, 29)
    assert volume.parity == Parity(kind=ParityKind.DEDICATED, drives=2)
    barn = next(device for device in estate.devices if device.site == "barn")
    assert (barn.link, barn.fetch_time) == (2_500_000_000, timedelta(hours=4))


def test_a_rate_in_bytes_is_no_link(tmp_path: Path) -> None:
    (told,) = mistakes(tmp_path, spoiled("    site: barn\n", "    site: barn\n    link: 100 MB/s\n"))
    assert "no rate in bits a second" in told


def test_a_sample_of_content_is_asked_for_in_exact_shares(tmp_path: Path) -> None:
    asked = policy(tmp_path, "verify: {confidence: 95%, tolerable: 0.1%, every: 30d}").verify
    assert asked == Verify(confidence=Fraction(19, 20), tolerable=Fraction(1, 1000), every=timedelta(days=30))


@pytest.mark.parametrize("keeper", ["barn", "kestrel"])
def test_a_key_is_kept_at_a_site_or_on_a_device(tmp_path: Path, keeper: str) -> None:
    text = spoiled("medium: hdd}", f"medium: hdd, encrypted: true, key_kept: [{keeper}]}}")
    assert read(tmp_path, text).devices[0].volumes[0].key_kept == (keeper,)


def test_a_key_is_kept_nowhere_else(tmp_path: Path) -> None:
    (told,) = mistakes(tmp_path, spoiled("medium: hdd}", "medium: hdd, encrypted: true, key_kept: [the-attic]}"))
    assert "no site or device 'the-attic' is declared" in told
