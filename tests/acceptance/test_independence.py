"""Copies are counted by the machines they can be lost with: two names for one machine are one."""

from __future__ import annotations

from pathlib import Path

import pytest

from coverage_audit.judgement.verdict import Conclusion
from tests.parts.machines import Shows, StartMachine
from tests.parts.sshd import Box, StartSshd
from tests.parts.station import Station, dataset_of
from tests.parts.tampering import StartTampering
from tests.parts.two_boxes import (
    HERONS_DRIVE,
    KESTRELS_DRIVE,
    StartBoth,
    accept_own_state,
    assert_counted_once,
    assert_not_shown_apart,
    declare,
    finding,
    reached,
)

pytestmark = pytest.mark.root

ATTESTED = 'attested_apart: {kestrel: "the gamekeeper carried it to the barn himself"}'


def test_two_machines_that_show_all_of_themselves_conform_in_earnest(
    two_volumes: Station, start_both: StartBoth
) -> None:
    start_both({"kestrel": KESTRELS_DRIVE, "heron": HERONS_DRIVE})
    accept_own_state(two_volumes)

    ran = two_volumes.command("audit", "--json")

    assert ran.status == 0, ran.out + ran.err
    assert ran.object["rehearsal"] is False
    assert ran.object["conclusion"] == "conforming"
    independence = next(f for f in ran.object["datasets"][0]["findings"] if f["rule"] == "independence")
    assert independence["answer"] == "conformity"
    assert any(KESTRELS_DRIVE in item["what"] for item in independence["evidence"])
    assert any(HERONS_DRIVE in item["what"] for item in independence["evidence"])


def test_one_host_reached_by_two_servers_is_one_machine(two_volumes: Station, start_sshd: StartSshd) -> None:
    declare(two_volumes, reached(start_sshd()), reached(start_sshd()))
    assert_counted_once(two_volumes.night(), "one machine id and one boot id")


def test_this_machine_and_itself_over_ssh_are_one(two_volumes: Station, box: Box) -> None:
    declare(two_volumes, "local", reached(box))
    assert_counted_once(two_volumes.night(), "one machine id and one boot id")


def test_one_host_key_at_two_addresses_is_one_machine(
    two_volumes: Station, start_machine: StartMachine, tampered_line: StartTampering
) -> None:
    hidden = Shows(machine_id=None, boot_id=None)
    machine = start_machine("kestrel", hidden)
    declare(two_volumes, reached(machine), reached(machine, tampered_line(machine.port)))

    assert_counted_once(two_volumes.night(), "one host key", machine.fingerprint())


def test_a_root_of_its_own_with_another_machine_id_still_falls_with_its_kernel(
    two_volumes: Station, box: Box, start_machine: StartMachine
) -> None:
    kernel = Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    declare(two_volumes, reached(box), reached(start_machine("heron", Shows(boot_id=kernel))))

    assert_counted_once(two_volumes.night(), "one running kernel carries both")


def test_a_clone_with_the_same_machine_id_is_not_shown_apart(two_volumes: Station, start_machine: StartMachine) -> None:
    drives = {two_volumes.root / "kestrel": KESTRELS_DRIVE, two_volumes.root / "heron": HERONS_DRIVE}
    kestrel = Shows(drives=drives)
    heron = Shows(machine_id=kestrel.machine_id, drives=drives)
    declare(two_volumes, reached(start_machine("kestrel", kestrel)), reached(start_machine("heron", heron)))

    assert_not_shown_apart(two_volumes.night(), "one machine id but no common boot id")


def test_a_guest_falls_with_its_host(two_volumes: Station, start_both: StartBoth) -> None:
    start_both({"kestrel": KESTRELS_DRIVE, "heron": HERONS_DRIVE}, more="runs_on: kestrel", site="station")

    audited = two_volumes.night()

    assert finding(audited, "enough-copies").measured.startswith("1 proven and apart")
    assert dataset_of(audited, "field-recordings").conclusion is Conclusion.NONCONFORMING
    assert "heron runs on kestrel" in finding(audited, "independence").message


def test_a_volume_falls_with_the_one_it_is_stored_on(two_volumes: Station, start_both: StartBoth) -> None:
    start_both({"kestrel": KESTRELS_DRIVE, "heron": HERONS_DRIVE}, stored=', stored_on: "kestrel:main"')

    audited = two_volumes.night()

    assert finding(audited, "enough-copies").measured.startswith("1 proven and apart")
    assert dataset_of(audited, "field-recordings").conclusion is Conclusion.NONCONFORMING
    assert "heron:pool is stored on kestrel:main" in finding(audited, "independence").message


def test_a_guest_that_does_not_say_of_whom_is_not_shown_apart(two_volumes: Station, start_both: StartBoth) -> None:
    drives = {two_volumes.root / "heron": HERONS_DRIVE}
    start_both({"kestrel": KESTRELS_DRIVE}, heron=Shows(guest=True, drives=drives))

    assert_not_shown_apart(two_volumes.night(), "heron shows itself to be a guest, and no `runs_on` says of whom")


def test_a_box_that_shows_nothing_of_itself_is_not_shown_apart(two_volumes: Station, start_both: StartBoth) -> None:
    start_both({"kestrel": KESTRELS_DRIVE}, heron=Shows(machine_id=None, boot_id=None))

    assert_not_shown_apart(
        two_volumes.night(),
        "heron does not show its machine id",
        "heron does not show its boot id",
    )


def test_what_the_owner_attests_counts_and_stands_beside_the_conclusion(
    two_volumes: Station, start_both: StartBoth
) -> None:
    start_both({"kestrel": KESTRELS_DRIVE}, heron=Shows(machine_id=None, boot_id=None), more=ATTESTED)
    accept_own_state(two_volumes)

    ran = two_volumes.command("audit")

    assert ran.status == 0, ran.out + ran.err
    told = two_volumes.command("explain", "independence:field-recordings")
    assert "the owner attests that they are apart" in " ".join(told.out.split())
    assert "the gamekeeper carried it to the barn himself" in " ".join(told.out.split())


def test_what_the_owner_attests_does_not_stand_against_what_is_shown(
    two_volumes: Station, start_sshd: StartSshd
) -> None:
    declare(two_volumes, reached(start_sshd()), reached(start_sshd()), more=ATTESTED)
    assert_counted_once(two_volumes.night(), "one machine id and one boot id")
