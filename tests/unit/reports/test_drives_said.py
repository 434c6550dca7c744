"""What a volume is made of, in a line."""

from __future__ import annotations

from datetime import date

from coverage_audit.estate.hardware import Drive, Parity, ParityKind
from coverage_audit.reports.drives_said import drives_said
from tests.builders.station import a_volume

TB = 10**12
TODAY = date(2026, 11, 27)


def test_of_a_volume_of_which_nothing_is_declared_nothing_is_said() -> None:
    assert drives_said(a_volume("kestrel:main"), TODAY) == ""


# 8, 8, 12 and 12 TB in equal slices, two of them for parity: 16 TB, which are 14.55 TiB (mdadm(8), `--size`).
def test_mixed_drives_say_what_they_hold_and_stand_in_both_units() -> None:
    drives = (
        *(Drive(size=8 * TB, in_service=date(2019, 3, 2)) for _ in range(2)),
        Drive(size=12 * TB, in_service=date(2025, 1, 18)),
        Drive(size=12 * TB),
    )
    volume = a_volume("kestrel:main", drives=drives, parity=Parity(kind=ParityKind.SPREAD, drives=2))

    assert drives_said(volume, TODAY) == (
        "4 drives: 2 of 8.0 TB and 2 of 12.0 TB; 16.0 TB (14.55 TiB) usable, stands the loss of 2; "
        "2 past 5 years of service"
    )


def test_one_drive_stands_nothing() -> None:
    said = drives_said(a_volume("shelf-b:drive", drives=(Drive(size=4 * TB),)), TODAY)

    assert said == "1 drive: 1 of 4.0 TB; 4.0 TB (3.64 TiB) usable, stands no loss"


def test_what_cannot_be_an_array_says_why() -> None:
    volume = a_volume("kestrel:main", drives=(Drive(size=4 * TB),), parity=Parity(kind=ParityKind.MIRROR))

    assert "no such array can be" in drives_said(volume, TODAY)
