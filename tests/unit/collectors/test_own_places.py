"""Where the auditor's own files lie: found without links on the way, and only what exists."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coverage_audit.collectors.own_places import own_places
from coverage_audit.estate.access import SshAccess
from coverage_audit.estate.model import Estate
from coverage_audit.evidence.own import OwnPart, OwnPlaces
from tests.builders.station import a_device, a_volume, an_estate


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home folder with a state folder, an estate file and the usual keys."""
    monkeypatch.setenv("HOME", str(tmp_path))
    for file in ("state/seed", "state/ledger.db", "state/manifests/a.parquet", "estate.yaml", ".ssh/id_ed25519"):
        (tmp_path / file).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / file).write_text("x")
    return tmp_path


def found(home: Path, estate: Estate, state: str = "state", *, on_a_server: bool = False) -> OwnPlaces:
    folder = home / state
    return own_places(
        estate,
        database=None if on_a_server else folder / "ledger.db",
        dump=folder / "dump",
        needed=(folder / "seed", folder / "manifests"),
    )


def an_estate_here(home: Path, access: SshAccess | None = None) -> Estate:
    device = a_device("heron", a_volume("heron:pool"), access=access or SshAccess(host="heron.example"))
    return replace(an_estate(device), file=str(home / "estate.yaml"))


def paths(places: OwnPlaces, part: OwnPart) -> list[str]:
    return [place.path for place in places.places if place.part is part]


def test_a_folder_is_tried_by_a_file_in_it(home: Path) -> None:
    manifests = found(home, an_estate_here(home)).places[1]

    assert (manifests.path, manifests.is_folder, manifests.inside) == (f"{home}/state/manifests", True, "a.parquet")


def test_the_estate_file_is_where_it_was_read(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(home)
    relative = replace(an_estate_here(home), file="estate.yaml")

    assert paths(found(home, relative), OwnPart.ESTATE) == [f"{home}/estate.yaml"]


def test_a_link_on_the_way_leads_to_where_the_file_really_lies(home: Path) -> None:
    (home / "elsewhere").symlink_to("state")
    (home / "linked.yaml").symlink_to("estate.yaml")
    estate = replace(an_estate_here(home), file=str(home / "linked.yaml"))

    places = found(home, estate, state="elsewhere")

    assert paths(places, OwnPart.LEDGER) == [f"{home}/state/seed", f"{home}/state/manifests"]
    assert paths(places, OwnPart.ESTATE) == [f"{home}/estate.yaml"]


def test_the_keys_are_those_that_a_login_would_use_and_that_exist(home: Path) -> None:
    assert paths(found(home, an_estate_here(home)), OwnPart.KEYS) == [f"{home}/.ssh/id_ed25519"]
    (home / "auditor").write_text("key")
    (home / "known").write_text("")
    (home / ".ssh/config").write_text(f"Host heron.example\n  UserKnownHostsFile {home}/known\n")

    named = an_estate_here(home, SshAccess(host="heron.example", identity_file="~/auditor"))

    assert paths(found(home, named), OwnPart.KEYS) == [f"{home}/auditor", f"{home}/known"]


def test_a_configuration_that_cannot_be_honoured_hides_no_key_that_the_estate_names(home: Path) -> None:
    (home / ".ssh/config").write_text("Host *\n  ProxyCommand nc %h %p\n")
    (home / "auditor").write_text("key")
    named = an_estate_here(home, SshAccess(host="heron.example", identity_file="~/auditor"))

    assert paths(found(home, named), OwnPart.KEYS) == [f"{home}/auditor"]


@pytest.mark.parametrize(("name", "on_a_server"), [("ledger.db", False), ("ledger.sql", True), ("ledger.sql.gz", True)])
def test_a_copy_of_the_database_is_dated_by_its_newest_file_that_holds_anything(
    home: Path, name: str, *, on_a_server: bool
) -> None:
    estate = an_estate_here(home)
    assert found(home, estate, on_a_server=on_a_server).dumped is None
    dump = home / "state/dump"
    dump.mkdir()
    (dump / name).touch()
    assert found(home, estate, on_a_server=on_a_server).dumped is None
    (dump / name).write_text("create table")
    os.utime(dump / name, (1_795_000_000, 1_795_000_000))

    assert found(home, estate, on_a_server=on_a_server).dumped == datetime.fromtimestamp(1_795_000_000, UTC)


@pytest.mark.parametrize("name", ["ledger.db-journal", "ledger.log", "errors.txt", "seed"])
@pytest.mark.parametrize("on_a_server", [False, True])
def test_what_lies_beside_a_copy_of_the_database_is_none(home: Path, name: str, *, on_a_server: bool) -> None:
    (home / "state/dump").mkdir()
    (home / "state/dump" / name).write_text("unable to open database file")

    assert found(home, an_estate_here(home), on_a_server=on_a_server).dumped is None
