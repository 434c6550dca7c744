"""The auditor's own ledger, estate file and keys: in a dataset, or a finding that says what to write."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.access import LocalAccess, SshAccess
from coverage_audit.estate.drafting import quoted
from coverage_audit.estate.model import Dataset, DatasetId, Device, Estate
from coverage_audit.evidence.own import OwnPart, OwnPlace, OwnPlaces
from coverage_audit.judgement.context import EstateContext
from coverage_audit.judgement.rules.own_state import check
from coverage_audit.judgement.verdict import Answer, Finding
from tests.builders.station import FINISHED, LIMITS, MAX_AGE, POLICY, STARTED, a_device, a_volume, an_address, an_estate

STATE = "/home/aoife/state"


def a_place(path: str, part: OwnPart = OwnPart.LEDGER, inside: str | None = None) -> OwnPlace:
    return OwnPlace(part=part, path=path, is_folder=inside is not None, inside=inside)


OWN = OwnPlaces(
    places=(
        a_place(f"{STATE}/seed"),
        a_place(f"{STATE}/manifests", inside="a.parquet"),
        a_place("/home/aoife/config/estate.yaml", OwnPart.ESTATE),
        a_place("/home/aoife/ssh/id_ed25519", OwnPart.KEYS),
        a_place("/home/aoife/ssh/known_hosts", OwnPart.KEYS),
    ),
    database=a_place(f"{STATE}/ledger.db"),
    dump=a_place(f"{STATE}/dump", inside="ledger.db"),
)
SERVER = replace(OWN, database=None)
HOME = a_device("curlew", a_volume("curlew:home", path="/home"), access=LocalAccess())


def a_dataset(original: str, *leave_out: str, name: str = "auditor") -> Dataset:
    return Dataset(id=DatasetId(name), policy=POLICY.id, original=an_address(original), copies=(), leave_out=leave_out)


def findings(
    *datasets: Dataset, own: OwnPlaces | None = OWN, device: Device = HOME, whole: bool = True, **estate: Any
) -> dict[str, Finding]:
    return {f.id: f for f in check(a_context(an_estate(device, datasets=datasets, **estate), own, whole=whole))}


def a_context(estate: Estate, own: OwnPlaces | None, *, whole: bool = True) -> EstateContext:
    return EstateContext(
        estate=estate,
        cases=(),
        devices={},
        identities=(),
        started=STARTED,
        finished=FINISHED,
        whole=whole,
        own=own,
    )


def answers(*datasets: Dataset, **given: Any) -> dict[str, Answer]:
    return {name.partition(":")[2]: found.answer for name, found in findings(*datasets, **given).items()}


FAILS, HOLDS = Answer.NONCONFORMITY, Answer.CONFORMITY
ALL_HOLD = {"ledger": HOLDS, "estate": HOLDS, "keys": HOLDS}


def test_what_lies_in_the_original_of_a_dataset_conforms_and_is_judged_there() -> None:
    assert answers(a_dataset("curlew:home/aoife")) == ALL_HOLD
    assert answers(a_dataset("curlew:home")) == ALL_HOLD


def test_each_part_that_no_dataset_holds_fails_on_its_own() -> None:
    assert answers() == {"ledger": FAILS, "estate": FAILS, "keys": FAILS}
    assert answers(a_dataset("curlew:home/aoife/state")) == {"ledger": HOLDS, "estate": FAILS, "keys": FAILS}
    assert answers(a_dataset("curlew:home/aoife/ssh")) == {"ledger": FAILS, "estate": FAILS, "keys": HOLDS}


def test_a_name_that_only_begins_alike_is_another_folder() -> None:
    assert answers(a_dataset("curlew:home/aoife/sta"))["ledger"] is FAILS
    assert answers(a_dataset("curlew:home/ao"))["estate"] is FAILS


def test_a_folder_of_that_name_on_another_machine_covers_nothing() -> None:
    afar = replace(HOME, access=SshAccess(host="curlew.example"))
    assert set(answers(a_dataset("curlew:home"), device=afar).values()) == {FAILS}


def test_a_volume_inside_another_is_a_filesystem_of_its_own() -> None:
    nested = replace(HOME, volumes=(*HOME.volumes, a_volume("curlew:own", path=STATE)))

    assert answers(a_dataset("curlew:home"), device=nested)["ledger"] is FAILS
    both = a_dataset("curlew:home"), a_dataset("curlew:own", name="auditor-ledger")
    assert answers(*both, device=nested) == ALL_HOLD


@pytest.mark.parametrize(
    ("pattern", "part"),
    [
        ("/aoife/state/", "ledger"),
        ("seed", "ledger"),
        ("*.parquet", "ledger"),
        ("ledger.db*", "ledger"),
        ("*.yaml", "estate"),
        ("id_*", "keys"),
        ("ssh/", "keys"),
    ],
)
def test_what_a_pattern_leaves_out_is_not_covered(pattern: str, part: str) -> None:
    found = findings(a_dataset("curlew:home", pattern))

    assert {one.subject: one.answer for one in found.values()} == {**ALL_HOLD, part: FAILS}
    assert f"is left out of auditor by the pattern “{pattern}”" in found[f"own-state:{part}"].message


def test_what_one_dataset_leaves_out_another_may_hold() -> None:
    both = a_dataset("curlew:home", "/aoife/"), a_dataset("curlew:home/aoife", name="of-aoife")
    assert answers(*both) == ALL_HOLD


def test_a_copy_of_the_database_made_by_its_own_means_stands_for_it_while_it_is_young_enough() -> None:
    held = a_dataset("curlew:home", "/aoife/state/ledger.db*")
    young, old = FINISHED - MAX_AGE, FINISHED - MAX_AGE - timedelta(seconds=1)

    assert answers(held, own=replace(OWN, dumped=young)) == ALL_HOLD
    assert answers(held, own=replace(OWN, dumped=old))["ledger"] is FAILS
    ahead = FINISHED + LIMITS.clock_tolerance
    assert answers(held, own=replace(OWN, dumped=ahead)) == ALL_HOLD
    assert answers(held, own=replace(OWN, dumped=ahead + timedelta(seconds=1)))["ledger"] is FAILS
    for both in (["/aoife/state/ledger.db*", "dump/"], ["ledger.db*"]):  # the second means the copy, too
        without = a_dataset("curlew:home", *both)
        assert answers(without, own=replace(OWN, dumped=young))["ledger"] is FAILS


def test_a_ledger_that_a_server_keeps_wants_a_copy_of_it_among_the_files() -> None:
    held = a_dataset("curlew:home")

    assert answers(held, own=SERVER)["ledger"] is FAILS
    assert f"no copy of it lies in “{STATE}/dump”" in findings(held, own=SERVER)["own-state:ledger"].message
    assert answers(held, own=replace(SERVER, dumped=FINISHED - timedelta(hours=3))) == ALL_HOLD
    stale = findings(held, own=replace(SERVER, dumped=FINISHED - timedelta(days=9)))["own-state:ledger"]
    assert stale.answer is FAILS
    assert "was made 9 days ago; 26 h is asked" in stale.message


def test_what_lies_together_in_no_dataset_is_named_once_by_its_folder() -> None:
    found = findings()["own-state:ledger"]

    assert found.message == (
        f"The auditor could lose its own ledger: “{STATE}” lies on curlew:home, outside every original."
    )
    assert found.mend == (
        'Under datasets: auditor-ledger: {policy: irreplaceable, original: "curlew:home/aoife/state", '
        'copies: [{at: "DEVICE:VOLUME/auditor-ledger"}]}.'
    )


def test_a_machine_that_is_not_declared_is_drafted_with_its_volume() -> None:
    elsewhere = a_device("heron", a_volume("heron:pool"))

    found = findings(device=elsewhere)["own-state:estate"]

    assert "lies on no declared volume of this machine" in found.message
    assert "Under devices: auditor: {site: station, access: local, volumes: {config: {path: " in found.mend
    assert quoted("/home/aoife/config") in found.mend
    assert 'original: "auditor:config"' in found.mend


def test_in_a_rehearsal_all_of_it_is_one_observation() -> None:
    assert answers(rehearsal=True) == {"auditor": Answer.OBSERVATION}
    assert answers(a_dataset("curlew:home"), rehearsal=True) == ALL_HOLD


def test_where_only_some_datasets_were_asked_for_nothing_is_said() -> None:
    assert answers(whole=False) == {}
    assert answers(own=None) == {}


def test_an_auditor_without_keys_is_asked_for_none() -> None:
    bare = replace(OWN, places=tuple(place for place in OWN.places if place.part is not OwnPart.KEYS))
    assert set(answers(own=bare)) == {"ledger", "estate"}


def test_a_hostile_name_of_a_folder_is_shown_and_never_obeyed() -> None:
    nasty = replace(OWN, places=(a_place("/home/\x1b[2J\n/estate.yaml", OwnPart.ESTATE),))
    said = findings(own=nasty)["own-state:estate"]

    assert "\x1b" not in said.message + said.mend
    assert "\n" not in said.message + said.mend


def test_a_part_that_gets_worse_is_worse() -> None:
    one = findings(a_dataset("curlew:home", "known_hosts"))["own-state:keys"].degree
    both = findings(a_dataset("curlew:home", "known_hosts", "id_*"))["own-state:keys"].degree

    assert one is not None
    assert both is not None
    assert one < both
