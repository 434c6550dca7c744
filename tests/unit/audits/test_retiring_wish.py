from __future__ import annotations

from dataclasses import replace

import pytest

from coverage_audit.audits.retiring_wish import leaving_of, originals_of
from coverage_audit.errors import UsageError
from coverage_audit.estate.hardware import Drive, Parity, ParityKind
from tests.builders.station import HERON, KESTREL, a_volume, an_estate

TB = 10**12
DRIVES = tuple(Drive(size=4 * TB) for _ in range(4))
ARRAY = replace(a_volume("kestrel:main"), drives=DRIVES, parity=Parity(kind=ParityKind.SPREAD, drives=1))
ESTATE = an_estate(replace(KESTREL, volumes=(ARRAY,)), HERON)


def test_a_device_a_volume_and_a_drive_are_told_apart_by_how_they_are_spelled() -> None:
    assert leaving_of(ESTATE, ["kestrel"]).devices == {"kestrel"}
    assert leaving_of(ESTATE, ["kestrel:main"]).devices == frozenset()
    drive = leaving_of(ESTATE, ["kestrel:main#2"])
    assert (drive.devices, {str(volume) for volume in drive.volumes}) == (frozenset(), {"kestrel:main"})
    assert "it stands 0 more losses then" in drive.falls[0]


@pytest.mark.parametrize("wrong", ["kestrel:main#5", "kestrel:main#0", "kestrel:main#", "heron:pool#1", "a:b", "", ":"])
def test_what_is_not_declared_is_refused(wrong: str) -> None:
    with pytest.raises(UsageError):
        leaving_of(ESTATE, [wrong])


def test_nothing_at_all_is_refused() -> None:
    with pytest.raises(UsageError):
        leaving_of(ESTATE, [])


@pytest.mark.parametrize("wrong", ["nothing=heron:pool/x", "x", "=heron:pool", "nothing=", "nothing=heron:pool/../x"])
def test_an_original_that_makes_no_sense_is_refused(wrong: str) -> None:
    with pytest.raises(UsageError):
        originals_of(ESTATE, [wrong], leaving_of(ESTATE, ["kestrel"]))
