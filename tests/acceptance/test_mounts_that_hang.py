"""A folder mounted here over the network whose server falls silent: it costs what lies on it, and nothing else.

What asks such a mount sleeps in the kernel and no signal ends it (measured with sshfs: state D in
`request_wait_answer`, also after SIGKILL, until the server goes on).
"""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from coverage_audit.collectors.gate_text import gate_text
from coverage_audit.ledger.opening import exclusive
from tests.acceptance.test_boxes_that_fail import CURLEW
from tests.builders.two_places import two_places
from tests.parts.hanging import HangingMount, MountHanging
from tests.parts.station import Ran, Station
from tests.parts.waiting import wait_for

pytestmark = pytest.mark.root

DEVICE_TIME = 12.0  # seconds, as declared below
PLACES = ("{at: heron:pool/recordings}", "{at: curlew:store/recordings}")


def declare(station: Station, heron: str = "local", original: str = "kestrel") -> None:
    text = two_places(
        copies=PLACES,
        access=heron,
        more=CURLEW,
        limits=f"{{device_time: {DEVICE_TIME:g}s, read_time: 4s}}",
    )
    station.declare(text.replace('"{root}/kestrel"', f'"{{root}}/{original}"'))


@pytest.fixture
def heron(station: Station, mount_hanging: MountHanging) -> HangingMount:
    """Three places in line, heron's on a mount that may hang."""
    declare(station)
    for number in range(300):
        station.write(f"kestrel/recordings/{number % 20:02}/take-{number:03}.wav", b"x" * number)
    station.mirror("kestrel/recordings", "served/recordings")
    station.mirror("kestrel/recordings", "curlew/recordings")
    return mount_hanging(station.root / "served", station.root / "heron")


def copies(ran: Ran) -> dict[str, dict[str, Any]]:
    (dataset,) = ran.object["datasets"]
    return {str(copy["at"]).partition(":")[0]: copy for copy in dataset["copies"]}


def finding(ran: Ran, name: str) -> dict[str, Any]:
    (dataset,) = ran.object["datasets"]
    found: dict[str, Any] = next(one for one in dataset["findings"] if one["id"] == name)
    return found


def timed(station: Station, mount: HangingMount, *words: str) -> Ran:
    """Run a command beside the mount; it ends in the time of one device and a little more, however loaded we are."""
    before = time.monotonic()
    ran = station.command(*words, prefix=mount.prefix)  # waits for its output to be closed: nobody else holds it
    assert time.monotonic() - before < DEVICE_TIME + 30
    return ran


def assert_only_heron_is_unverified(ran: Ran) -> None:
    assert ran.status == 69, ran.err
    assert ran.object["conclusion"] == "unverified"
    seen = copies(ran)
    assert seen["heron"]["standing"] == "unverified"
    assert "time limit" in seen["heron"]["reason"]
    assert seen["heron"]["recovery_point"] is None
    assert seen["curlew"]["standing"] == "proven"
    assert {gap["subject"].partition(":")[0] for gap in ran.object["gaps"]} == {"heron"}
    assert {gap["kind"] for gap in ran.object["gaps"]} == {"time limit"}


def assert_nothing_is_in_the_way(station: Station, mount: HangingMount) -> None:
    """The state folder is free while abandoned workers still sleep, and they end as soon as the kernel lets them."""
    with exclusive(station.state):
        pass
    assert workers(mount)  # else this shows nothing
    for number in workers(mount):
        assert station.state / "lock" not in held_open(number)
    mount.go_on()
    assert wait_for(lambda: not workers(mount), 20), workers(mount)


def held_open(number: int) -> list[Path]:
    """What a process has open; it may close a file, or end, while its list is read."""
    held = []
    for one in Path(f"/proc/{number}/fd").glob("*"):
        with suppress(FileNotFoundError, ProcessLookupError):
            held.append(one.readlink())
    return held


def workers(mount: HangingMount) -> dict[int, str]:
    return {number: said for number, said in mount.others_inside().items() if not said.startswith("ssh ")}


def test_a_copy_on_a_hung_mount_costs_its_own_evidence_alone(station: Station, heron: HangingMount) -> None:
    before = timed(station, heron, "audit", "--json")
    assert before.status == 0, before.out + before.err
    proven_back_to = copies(before)["heron"]["recovery_point"]
    assert proven_back_to is not None

    heron.stop()
    ran = timed(station, heron, "audit", "--json")

    assert_only_heron_is_unverified(ran)
    lacking = finding(ran, "evidence-age:field-recordings@heron:pool/recordings")
    assert lacking["answer"] == "unverified"
    assert re.search(r"not seen in this audit; last seen 20\d\d-.* ago", lacking["measured"])
    again = timed(station, heron, "audit", "--json")  # a second worker beside one that still sleeps
    assert_only_heron_is_unverified(again)
    assert_nothing_is_in_the_way(station, heron)

    assert timed(station, heron, "audit").status == 0


def test_what_was_seen_before_is_never_shown_as_fresh(station: Station, heron: HangingMount, tmp_path: Path) -> None:
    station.estate_file.write_text(
        station.estate_file.read_text().replace("  heron:\n", "  heron:\n    may_be_off: 3d\n")
    )
    assert timed(station, heron, "audit").status == 0
    heron.stop()

    page = tmp_path / "page.html"
    ran = timed(station, heron, "audit", "--html", str(page))  # a box that hangs is not one that was switched off

    assert ran.status == 69
    said = " ".join(ran.out.split())
    assert "unverified heron:pool/recordings (barn, hdd; declared): no recovery point proven" in said
    assert "1 of 2 declared copies proven" in said
    assert "time limit" in page.read_text()


def test_a_mount_that_hangs_in_the_middle_of_the_walk(station: Station, heron: HangingMount) -> None:
    for number in range(6_000):
        (station.root / f"served/recordings/{number % 20:02}/more-{number:05}.wav").write_bytes(b"")
    words = [*heron.prefix, sys.executable, "-m", "coverage_audit", "audit", "--json"]
    audit = subprocess.Popen(
        [*words, "--estate", str(station.estate_file), "--state", str(station.state)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert wait_for(lambda: sum("local_walk" in said for said in workers(heron).values()) >= 2, 20)
    time.sleep(0.3)
    heron.stop()
    out, err = audit.communicate(timeout=DEVICE_TIME + 60)

    ran = Ran(status=audit.returncode, out=out.decode(), err=err.decode())
    assert_only_heron_is_unverified(ran)
    assert_nothing_is_in_the_way(station, heron)


def test_an_original_on_a_hung_mount_leaves_its_copies_judged_as_of_when_it_was_seen(
    station: Station, heron: HangingMount
) -> None:
    declare(station, original="heron")
    station.estate_file.write_text(
        station.estate_file.read_text().replace(
            f'{{pool: {{path: "{station.root}/heron"', f'{{pool: {{path: "{station.root}/kestrel"'
        )
    )
    first = timed(station, heron, "audit", "--json")
    assert first.status == 0, first.out + first.err
    heron.stop()

    ran = timed(station, heron, "audit", "--json")

    assert ran.status == 69
    seen_at = next(iter(first.object["datasets"]))["original"]["at"]
    (dataset,) = ran.object["datasets"]
    assert dataset["conclusion"] == "unverified"
    assert dataset["original"]["at"] == seen_at
    found = finding(ran, "evidence-age:field-recordings@kestrel:main/recordings")
    assert "was not seen in this audit: time limit" in found["message"]
    assert_nothing_is_in_the_way(station, heron)


def test_the_room_of_other_filesystems_is_told_although_one_hangs(heron: HangingMount) -> None:
    heron.stop()
    nonce = "12800c72adeaf77219fdc71925af20f4"
    before = time.monotonic()
    done = subprocess.run(
        [*heron.prefix, "sh", "-s", "--", "1", nonce, "filesystems"],
        input=gate_text(),
        capture_output=True,
        check=True,
        timeout=60,
    )
    assert time.monotonic() - before < 30
    fields = done.stdout.split(b"\0")
    told = [fields[number + 1].split(b"\n")[0] for number, name in enumerate(fields) if name in {b"space", b"df"}]
    table = Path(f"/proc/{heron.inside}/mountinfo").read_bytes().splitlines()
    hung = next(line.split()[0] for line in table if b" %s " % bytes(heron.folder) in line)
    assert told
    assert hung not in told
    assert fields[-2] == f"E {nonce} 0".encode()


def test_a_preflight_ends_beside_a_hung_mount_and_names_it(station: Station, heron: HangingMount) -> None:
    heron.stop()

    ran = timed(station, heron, "preflight")

    assert ran.status == 69
    assert "heron:pool: not seen: heron:pool: time limit" in " ".join(ran.out.split()), ran.out


def test_an_audit_that_is_interrupted_beside_a_hung_mount_ends(station: Station, heron: HangingMount) -> None:
    heron.stop()
    words = [*heron.prefix, sys.executable, "-m", "coverage_audit", "audit"]
    audit = subprocess.Popen(
        [*words, "--estate", str(station.estate_file), "--state", str(station.state)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    assert wait_for(lambda: any("volume" in said for said in workers(heron).values()), 20)
    audit.send_signal(signal.SIGTERM)
    audit.wait(10)
    assert_nothing_is_in_the_way(station, heron)
