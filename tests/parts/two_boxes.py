"""Two boxes and one dataset: an original on kestrel, its copy on heron, and what is asserted of their independence."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import timedelta

import pytest

from coverage_audit.audits.audit import Audited
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, Standing
from tests.parts.loops import MakeVolume
from tests.parts.machines import Shows, StartMachine
from tests.parts.sshd import Box
from tests.parts.station import Station, copy_of, dataset_of

ESTATE = """
    sites:
      station: {name: Field station}
      barn: {name: Long Barn}
    devices:
      kestrel:
        site: station
        access: %(kestrel)s
        volumes: {main: {path: "{root}/kestrel", medium: hdd}}
      heron:
        site: %(site)s
        access: %(heron)s
        %(more)s
        volumes: {pool: {path: "{root}/heron", medium: hdd%(stored)s}}
    policies:
      careful: {copies: 2, offsite: 1, max_age: 26h}
    datasets:
      field-recordings:
        policy: careful
        original: kestrel:main/recordings
        copies: [{at: heron:pool/recordings}]
"""
KESTRELS_DRIVE, HERONS_DRIVE = "KESTREL-DRIVE-1", "HERON-DRIVE-1"


def reached(box: Box, port: int | None = None) -> str:
    """The access of a box as the estate writes it."""
    access = box.access if port is None else box.behind(port)
    return (
        f'{{ssh: "{access.user}@127.0.0.1:{access.port}", identity_file: "{access.identity_file}", '
        f'known_hosts: "{access.known_hosts}", config_file: "{access.config_file}"}}'
    )


def declare(station: Station, kestrel: str, heron: str, more: str = "", stored: str = "", site: str = "barn") -> None:
    station.declare(ESTATE % {"kestrel": kestrel, "heron": heron, "more": more, "stored": stored, "site": site})


def fill(station: Station) -> None:
    """Put the dataset on both volumes, as they are mounted now."""
    for number in range(6):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")


@pytest.fixture
def two_volumes(station: Station, make_volume: MakeVolume) -> Station:
    """The dataset on two filesystems."""
    make_volume(station.root / "kestrel")
    make_volume(station.root / "heron")
    fill(station)
    return station


def accept_own_state(station: Station) -> None:
    """Audit, and waive that no dataset of this estate holds the auditor's own state: other tests are of that."""
    station.night()
    for part in ("ledger", "estate", "keys"):
        until = f"{station.now() + timedelta(days=30):%Y-%m-%d}"
        ran = station.command("waive", f"own-state:{part}", "--until", until, "--why", "it stands elsewhere")
        assert ran.status == 0, ran.err


StartBoth = Callable[..., None]


@pytest.fixture
def start_both(station: Station, start_machine: StartMachine) -> StartBoth:
    """Start kestrel and heron as machines of their own and declare them; `drives` by volume or other mount."""

    def start(drives: Mapping[str, str] | None = None, heron: Shows | None = None, **declared: str) -> None:
        below = {station.root / name: serial for name, serial in (drives or {}).items()}
        boxes = start_machine("kestrel", Shows(drives=below)), start_machine("heron", heron or Shows(drives=below))
        declare(station, *map(reached, boxes), **declared)

    return start


def finding(audited: Audited, rule: str) -> Finding:
    (found,) = (f for f in dataset_of(audited, "field-recordings").findings if f.rule == rule)
    return found


def assert_counted_once(audited: Audited, *words: str) -> None:
    """Both places are proven, they count as one, and the finding says why."""
    assert dataset_of(audited, "field-recordings").original.standing is Standing.PROVEN
    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    assert finding(audited, "enough-copies").measured.startswith("1 proven and apart")
    assert finding(audited, "independence").answer is Answer.NONCONFORMITY
    assert finding(audited, "offsite").answer is Answer.NONCONFORMITY
    assert dataset_of(audited, "field-recordings").conclusion is Conclusion.NONCONFORMING
    for word in words:
        assert word in finding(audited, "independence").message


def assert_not_shown_apart(audited: Audited, *words: str) -> None:
    """Both places are proven; whether they are one is open, and the finding says what is lacking."""
    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    assert finding(audited, "enough-copies").measured == "1 (up to 2) proven and apart"
    assert finding(audited, "independence").answer is Answer.UNVERIFIED
    assert dataset_of(audited, "field-recordings").conclusion is Conclusion.UNVERIFIED
    for word in words:
        assert word in finding(audited, "independence").message
