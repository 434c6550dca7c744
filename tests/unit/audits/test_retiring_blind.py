"""What no walk of a box that leaves can show is named, and not clear until its owner says that it need not be kept."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest

from coverage_audit.audits.retirement import Retirement
from coverage_audit.audits.retiring import run_retirement
from coverage_audit.audits.retiring_wish import NotKeptWord, RetireWish
from coverage_audit.estate.reader import read_estate
from coverage_audit.evidence.collected import Answer, Question
from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts
from coverage_audit.ledger.opening import open_ledger
from coverage_audit.scenarios.retirement import Verdict
from tests.builders.retired import InProcess

ESTATE = """\
estate: Saltreach Field Station
time_zone: Europe/Dublin
sites: {station: {}, barn: {}}
devices:
  kestrel:
    site: station
    access: local
    attested_apart: {avocet: "Aoife carried both in"}
    volumes: {main: {path: "%(root)s/kestrel", medium: hdd}}
  avocet:
    site: barn
    access: local
    volumes:
      disk: {path: "%(root)s/avocet", medium: hdd}
      part: {path: "%(root)s/avocet-part", medium: hdd}
policies: {one: {copies: 1, max_age: 26h}}
datasets:
  letters: {policy: one, original: "kestrel:main/letters", copies: [{at: "avocet:disk/letters"}]}
"""
AS_IT_IS: Mapping[str, Any] = {}


@dataclass(kw_only=True)
class Showing(InProcess):
    """Boxes of which avocet, and its volumes by name, show what is given here instead."""

    box: Mapping[str, Any] = field(default_factory=dict)
    volumes: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    def gather(self, questions: Sequence[Question]) -> tuple[Answer, ...]:
        return tuple(self._shown(answer) for answer in super().gather(questions))

    def _shown(self, answer: Answer) -> Answer:
        if answer.device.id != "avocet":
            return answer
        assert isinstance(answer.facts, DeviceFacts)
        volumes = [facts for facts in answer.volumes if isinstance(facts, VolumeFacts)]
        return replace(
            answer,
            facts=replace(answer.facts, **self.box),
            volumes=tuple(replace(facts, **self.volumes.get(facts.volume.volume, {})) for facts in volumes),
        )


def retired(folder: Path, showing: Showing, *words: str) -> Retirement:
    (folder / "kestrel/letters").mkdir(parents=True)
    (folder / "kestrel/letters/a.txt").write_bytes(b"dear ranger")
    for name in ("avocet", "avocet-part"):
        shutil.copytree(folder / "kestrel", folder / name)
    (folder / "estate.yaml").write_text(ESTATE % {"root": folder}, encoding="utf-8")
    not_kept = tuple(NotKeptWord(pattern=word, who="Aoife", why="nothing of ours") for word in words)
    wish = RetireWish(targets=("avocet",), hash_all=True, filesystems=not_kept)
    return run_retirement(read_estate(folder / "estate.yaml"), wish, showing.parts())


def showing(folder: Path, box: Mapping[str, Any] = AS_IT_IS, volumes: Mapping[str, Any] = AS_IT_IS) -> Showing:
    (folder / "work").mkdir()
    ledger = open_ledger(folder / "ledger", None)
    return Showing(ledger=ledger, folder=folder / "work", box=box, volumes=volumes)


def test_a_box_that_shows_all_of_itself_is_clear(tmp_path: Path) -> None:
    assert retired(tmp_path, showing(tmp_path)).verdict is Verdict.CLEAR


PART = {"part": {"fs_root": "/around/part"}}
"""A folder of a filesystem of another kind than btrfs is bound there: what lies around it is on that box, too."""


@pytest.mark.parametrize(
    ("shown", "said", "word"),
    [
        ({"volumes": PART}, "only its part /around/part is mounted", "{root}/avocet-part"),
        ({"volumes": {"disk": {"filesystem_type": None}}}, "which filesystem it is was not shown", "{root}/avocet"),
        ({"box": {"over": "sftp"}}, "it offers its files over SFTP alone", "*"),
        ({"box": {"filesystems_unseen": "no mount table"}}, "no mount table", "*"),
    ],
    ids=["a part of a filesystem", "a filesystem of no known kind", "a box without commands", "no mount table"],
)
def test_what_else_a_box_may_hold_is_named_until_its_owner_says_that_it_need_not_be_kept(
    tmp_path: Path, shown: Mapping[str, Mapping[str, Any]], said: str, word: str
) -> None:
    one, other = tmp_path / "one", tmp_path / "other"
    for folder in (one, other):
        folder.mkdir()
    found = retired(one, showing(one, **shown))
    assert found.verdict is Verdict.CANNOT_TELL
    assert any(said in seen.why and seen.blocks for seen in found.not_observed)
    assert any(said in step and "--filesystem-not-kept" in step for step in found.steps)
    assert retired(other, showing(other, **shown), word.format(root=other)).verdict is Verdict.CLEAR


def test_a_part_of_a_filesystem_that_leaves_with_the_whole_of_it_hides_nothing(tmp_path: Path) -> None:
    shown = {"disk": {"filesystem_uuid": "one"}, "part": {"filesystem_uuid": "one", "fs_root": "/around/part"}}
    assert retired(tmp_path, showing(tmp_path, volumes=shown)).verdict is Verdict.CLEAR
