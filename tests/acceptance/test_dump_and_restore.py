"""The copy of the ledger that the dump's unit makes brings the auditor back, also beside manifests of later nights."""

from __future__ import annotations

import shlex
import shutil
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.ledger.opening import exclusive
from tests.parts.station import Station, copy_of, dataset_of
from tests.parts.unit_sandbox import directives

UNIT = Path(__file__).resolve().parents[2] / "deploy" / "coverage-audit-dump.service"
ESTATE = """
sites: {station: {name: Field station}}
devices:
  kestrel:
    site: station
    access: local
    volumes:
      main: {path: {root}/main, medium: hdd, on_root: true}
      pool: {path: {root}/pool, medium: hdd, on_root: true}
policies: {careful: {copies: 2, max_age: 26h}}
datasets:
  field-recordings: {policy: careful, original: "kestrel:main/recordings", copies: [{at: "kestrel:pool/recordings"}]}
"""


def dump(station: Station) -> None:
    """Run what the unit runs, in the state folder, as it does."""
    (station.state / "dump").mkdir(exist_ok=True)
    (start,) = directives(UNIT, "Service")["ExecStart"]
    subprocess.run([sys.executable, *shlex.split(start)[1:]], cwd=station.state, check=True)


def restore(station: Station, onto: Path) -> None:
    """Do what the guide says under Restore."""
    shutil.copytree(station.state, onto)
    for part in ("ledger.db-wal", "ledger.db-shm"):
        (onto / part).unlink(missing_ok=True)
    shutil.copy(onto / "dump/ledger.db", onto / "ledger.db")
    station.state = onto


@pytest.fixture
def nights(station: Station) -> Station:
    """Three nights, in each of which a file came to the original and did not reach the copy; a dump after the first."""
    station.declare(ESTATE)
    station.write("main/recordings/00.wav")
    station.mirror("main/recordings", "pool/recordings")
    station.night()
    dump(station)
    for number in (1, 2):
        station.pass_time(timedelta(days=1))
        station.write(f"main/recordings/0{number}.wav", age=timedelta(hours=1))
        station.night()
    return station


@pytest.mark.parametrize("again", [False, True], ids=["of the first night", "of the last night"])
def test_the_next_audit_goes_on_from_the_dump(nights: Station, tmp_path: Path, *, again: bool) -> None:
    if again:
        dump(nights)
    restore(nights, tmp_path / "restored")
    nights.pass_time(timedelta(days=1))

    audited = nights.night()

    assert audited.recorded.audit == (4 if again else 2)
    assert dataset_of(audited, "field-recordings").original.standing == "proven"
    missing = copy_of(audited, "field-recordings").evidence.comparison
    assert missing is not None
    assert missing.missing.files == 2
    assert nights.command("changes", "--since", "30d").status == 0


def test_a_dump_is_made_while_an_audit_holds_the_state_folder(nights: Station) -> None:
    with exclusive(nights.state):
        dump(nights)
    assert (nights.state / "dump/ledger.db").stat().st_size > 0
