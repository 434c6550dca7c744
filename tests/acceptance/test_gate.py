"""Whole audits through an installed gate, and what it refuses in the middle of one."""

from __future__ import annotations

import pytest

from coverage_audit.judgement.verdict import Conclusion, Standing
from tests.parts.gates import force_gate, install_gate
from tests.parts.machines import Shows, StartMachine
from tests.parts.sshd import StartSshd
from tests.parts.station import Station, copy_of, dataset_of
from tests.parts.two_boxes import HERONS_DRIVE, KESTRELS_DRIVE, accept_own_state, declare, fill, reached


@pytest.fixture
def guarded(two_volumes: Station, start_machine: StartMachine) -> Station:
    """Two machines, each behind a gate of its own that allows its volume alone."""
    station = two_volumes
    drives = {station.root / "kestrel": KESTRELS_DRIVE, station.root / "heron": HERONS_DRIVE}
    boxes = []
    for name in ("kestrel", "heron"):
        gate = install_gate(station.root / f"lib-{name}", f"# {name}\nroot {station.root}/{name}\n")
        boxes.append(start_machine(name, Shows(drives=drives)))
        force_gate(boxes[-1], gate)
    declare(station, *map(reached, boxes))
    return station


@pytest.mark.root
def test_an_audit_through_installed_gates_proves_all_that_it_proves_without(guarded: Station) -> None:
    accept_own_state(guarded)

    ran = guarded.command("audit", "--json")

    assert ran.status == 0, ran.out + ran.err
    assert ran.object["conclusion"] == "conforming"
    (dataset,) = ran.object["datasets"]
    assert next(f for f in dataset["findings"] if f["rule"] == "independence")["answer"] == "conformity"


def test_a_root_that_the_gate_does_not_allow_is_a_gap_and_never_covered(
    station: Station, start_sshd: StartSshd
) -> None:
    fill(station)
    kestrel, heron = start_sshd(), start_sshd()
    force_gate(heron, install_gate(station.root / "lib", f"root {station.root}/elsewhere\n"))
    declare(station, reached(kestrel), reached(heron))

    audited = station.night()

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.UNVERIFIED
    assert dataset_of(audited, "field-recordings").conclusion is not Conclusion.CONFORMING
    ran = station.command("audit")
    assert "the gate refuses: gate.conf allows no root that holds" in ran.out
    assert ran.status in {1, 69}


def test_a_gate_that_allows_a_part_of_the_tree_alone_proves_nothing_of_the_rest(
    station: Station, start_sshd: StartSshd
) -> None:
    fill(station)
    (station.root / "apart").mkdir()
    (station.root / "apart/take-0.wav").write_bytes(bytes(100))
    (station.root / "heron/recordings").rename(station.root / "heron/all")
    (station.root / "heron/recordings").symlink_to("../apart")
    heron = start_sshd()
    force_gate(heron, install_gate(station.root / "lib", f"root {station.root}/heron\n"))
    declare(station, "local", reached(heron))

    audited = station.night()

    assert copy_of(audited, "field-recordings").standing is Standing.UNVERIFIED
    assert dataset_of(audited, "field-recordings").conclusion is not Conclusion.CONFORMING
