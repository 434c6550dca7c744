from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from ruamel.yaml import YAML

from coverage_audit.estate.document import read_tree
from coverage_audit.estate.mistakes import Mistakes
from coverage_audit.estate.nodes import plain
from coverage_audit.estate.schema import FILE_NAME, estate_schema, homes_of, keys_at, schema_text
from coverage_audit.estate.shape import UNJUDGED, PolicyShape
from coverage_audit.estate.shipped import defaults_folder, sample_folder
from tests.builders.estate_file import SMALL, spoiled


def loaded(text: str) -> Any:
    tree = read_tree(text, Mistakes())
    assert tree is not None
    return plain(tree)


def accepts(text: str) -> bool:
    """The outside: the jsonschema package, with the file as ruamel's own loader reads it too."""
    validator = jsonschema.Draft202012Validator(estate_schema())
    own: bool = validator.is_valid(loaded(text))
    assert own == validator.is_valid(YAML(typ="safe", pure=True).load(text))
    return own


def test_the_shipped_schema_is_current() -> None:
    shipped = (defaults_folder() / FILE_NAME).read_text(encoding="utf-8")
    assert shipped == schema_text(), "run: python -m coverage_audit.estate.schema"


def test_the_schema_is_written_by_one_command(tmp_path: Path) -> None:
    before = (defaults_folder() / FILE_NAME).stat().st_mtime_ns
    subprocess.run([sys.executable, "-c", "import coverage_audit.estate.schema"], check=True, cwd=tmp_path)
    assert (defaults_folder() / FILE_NAME).stat().st_mtime_ns == before  # importing it writes nothing


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(estate_schema())


def test_the_schema_accepts_the_sample_and_the_small_estate() -> None:
    validator = jsonschema.Draft202012Validator(estate_schema())
    validator.validate(loaded((sample_folder() / "estate.yaml").read_text(encoding="utf-8")))
    assert accepts(SMALL)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("policy: plain", "polizy: plain"),
        ("medium: hdd", "medium: hd"),
        ("copies: 2", "copies: 0"),
        ("copies: 2", "copies: '2'"),
        ("26h", "26"),
        ("barn: {}", "barn:"),
        ("barn: {}", "a b: {}"),
        ("path: /srv/main", "path: srv/main"),
        ("{ssh: auditor@heron.example}", "lokal"),
        ("{ssh: auditor@heron.example}", "{ssh: heron, port: 22}"),
        ("at: heron:pool/sheets", "heron:pool/sheets"),
        ("Europe/Dublin\n", "Europe/Dublin\nnotices: {a: {url: x, send: [failing]}}\n"),
        ("Europe/Dublin\n", "Europe/Dublin\nnotices: {a: {url_file: /x, send: []}}\n"),
        ("Europe/Dublin\n", "Europe/Dublin\nschedule: {audit: '24:00'}\n"),
        ("Europe/Dublin\n", "Europe/Dublin\nlimits: {memory: 1 KB}\n"),
    ],
)
def test_the_schema_refuses_what_one_value_can_show_to_be_wrong(old: str, new: str) -> None:
    assert not accepts(spoiled(old, new))


def test_the_schema_knows_the_keys_at_each_place() -> None:
    assert keys_at(("sites", "barn")) == ("name",)
    assert keys_at(("devices", "kestrel", "access"))[0] == "ssh"
    assert keys_at(("datasets", "x", "copies", 3, "points"))[:2] == ("folders", "files")
    assert "limits" in keys_at(())
    assert keys_at(("nothing", "here", 1)) == ()
    assert set(homes_of("medium")) == {"volume"}
    assert set(homes_of("leave_out")) == {"copy", "dataset"}


def test_every_criterion_that_is_not_judged_is_a_key_of_a_policy() -> None:
    judged = {"copies", "max_age", "media", "offsite", "offline", "proof"} | {"headroom", "keep", "rhythm", "dump_size"}
    judged |= {"immutable", "restore_within", "verify", "shrinkage", "drill"}
    assert set(PolicyShape.model_fields) == judged | set(UNJUDGED)
