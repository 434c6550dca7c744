from __future__ import annotations

import re
from pathlib import Path

import pytest

from coverage_audit.errors import EstateError
from coverage_audit.estate.access import LocalAccess, ShelfAccess, SshAccess
from coverage_audit.estate.model import Estate, NoticeKind
from coverage_audit.estate.reader import read_estate, read_limits
from coverage_audit.estate.schema import estate_schema
from coverage_audit.estate.shipped import defaults_folder, sample_folder
from tests.builders.estate_file import SMALL, mistakes, read

JUDGED_LATER: set[str] = set()


@pytest.fixture(scope="module")
def estate() -> Estate:
    return read_estate(sample_folder() / "estate.yaml")


def test_the_sample_shows_every_kind_of_box(estate: Estate) -> None:
    assert len(estate.devices) >= 6
    assert len(estate.sites) == 3
    assert {type(device.access) for device in estate.devices} == {LocalAccess, SshAccess, ShelfAccess}
    assert any(device.runs_on for device in estate.devices)
    assert {volume.medium.value for device in estate.devices for volume in device.volumes} == {"hdd", "ssd", "hosted"}


@pytest.mark.parametrize("file", sorted(sample_folder().glob("*.yaml")), ids=lambda file: file.name)
def test_every_estate_that_ships_is_right(file: Path) -> None:
    assert read_estate(file).datasets


def test_the_estate_that_the_readme_explains_is_right(tmp_path: Path) -> None:
    text = (defaults_folder().parent / "README.md").read_text(encoding="utf-8")
    estates = [
        block for block in re.findall(r"^```yaml\n(.*?)^```", text, re.MULTILINE | re.DOTALL) if "estate:" in block
    ]
    assert estates
    for block in estates:
        assert read(tmp_path, block).datasets


def test_no_policy_of_the_sample_asks_for_what_its_copies_could_never_give(estate: Estate) -> None:
    for dataset in estate.datasets:
        policy = estate.policy(dataset.policy)
        places = [dataset.original, *(copy.address for copy in dataset.copies)]
        volumes = [estate.volume(place.volume) for place in places]
        home = estate.device(dataset.original.volume.device).site
        sites = [estate.device(place.volume.device).site for place in places]
        assert len({place.volume.device for place in places}) >= policy.copies, dataset.id
        assert len({volume.medium for volume in volumes}) >= (policy.media or 0), dataset.id
        assert sum(site != home for site in sites) >= (policy.offsite or 0), dataset.id
        assert sum(volume.offline for volume in volumes) >= (policy.offline or 0), dataset.id


def test_every_key_that_the_schema_knows_is_in_the_sample() -> None:
    text = (sample_folder() / "estate.yaml").read_text(encoding="utf-8")
    schema = estate_schema()
    keys = set(schema["properties"]).union(*(shape.get("properties", ()) for shape in schema["$defs"].values()))
    shown = {key for key in keys if f"{key}:" in text or f"{key}," in text or f"{key}." in text}
    own_limits = set(schema["$defs"]["OwnLimitsShape"]["properties"])
    identity = set(schema["$defs"]["IdentityShape"]["properties"])
    assert keys - shown - own_limits - identity == set()


def test_the_criteria_judged_later_are_named_in_the_sample_by_a_comment() -> None:
    text = (sample_folder() / "estate.yaml").read_text(encoding="utf-8")
    assert all(name in text for name in JUDGED_LATER)


def test_every_kind_of_notice_is_asked_for_by_someone(estate: Estate) -> None:
    assert frozenset[NoticeKind]().union(*(target.send for target in estate.notices)) == set(NoticeKind)


def test_the_shipped_limits_are_read_by_the_same_rules(tmp_path: Path) -> None:
    assert read_limits(defaults_folder() / "limits.yaml").memory == 10**9
    broken = tmp_path / "limits.yaml"
    broken.write_text("memory: 1 KB\n", encoding="utf-8")
    with pytest.raises(EstateError, match=r"limits\.yaml:1:9: '1 KB' has the unit 'KB'") as caught:
        read_limits(broken)
    assert str(caught.value).count("is missing") == 14


def test_an_installation_that_lost_its_files_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("coverage_audit.estate.shipped._PACKAGE", tmp_path / "coverage_audit")
    with pytest.raises(EstateError, match=r"limits\.yaml is not there .*install it again"):
        defaults_folder()
    with pytest.raises(EstateError, match=r"estate\.yaml is not there .*install it again"):
        sample_folder()


def test_a_wheel_finds_its_files_inside_the_package(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    package = tmp_path / "coverage_audit"
    for folder, name in (("defaults", "limits.yaml"), ("sample_config", "estate.yaml")):
        (package / folder).mkdir(parents=True)
        (package / folder / name).touch()
    monkeypatch.setattr("coverage_audit.estate.shipped._PACKAGE", package)
    assert defaults_folder() == package / "defaults"
    assert sample_folder() == package / "sample_config"


def test_the_small_estate_of_the_tests_is_right_but_for_what_is_spoiled(tmp_path: Path) -> None:
    assert mistakes(tmp_path, SMALL.replace("estate:", "estat:", 1)) == [
        "1:1: 'estate' is missing (add it here)",
        "1:1: unknown key 'estat' (did you mean 'estate'?)",
    ]
