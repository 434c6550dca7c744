"""The comparison against git: `git diff --name-status --no-renames` between two commits, and `git check-ignore`.

A checkout's own mtimes are all new, so each file's is made from the id of its blob: the same content, the same mtime.
COVERAGE_AUDIT_GIT_REPOSITORY names one more repository to try (its last commits are compared).
"""

from __future__ import annotations

import os
import subprocess
from itertools import pairwise
from pathlib import Path
from random import Random

import numpy as np
import pyarrow as pa
import pytest

from coverage_audit.comparison.compare import match
from coverage_audit.comparison.leaving_out import KEPT, LeavingOut, patterns_of
from coverage_audit.comparison.rows import differing_rows
from coverage_audit.comparison.types import Workspace
from coverage_audit.estate.model import Dataset, DatasetId, PolicyId
from coverage_audit.estate.reader import read_litter
from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.evidence.difference import RowClass
from coverage_audit.evidence.manifest import Kind, Manifest, Row
from tests.builders.manifests import MEMORY, SEED, a_manifest
from tests.builders.recorded import ORIGINAL

KINDS = {"100644": Kind.FILE, "100755": Kind.FILE, "120000": Kind.LINK, "160000": Kind.OTHER}
NAMES = [
    b"a",
    b"b.txt",
    b"-rf",
    b"new\nline",
    b"tab\tquote'\"",
    b"\xff\xfe",
    b"$(reboot)",
    "\u202etxt".encode(),
    b" ",
    b"A",
]
COMMITS = 8


def _git(repository: Path, *arguments: str | bytes, stdin: bytes | None = None) -> bytes:
    plain = {**os.environ, "GIT_CONFIG_GLOBAL": "/dev/null", "GIT_CONFIG_SYSTEM": "/dev/null"}
    done = subprocess.run(
        ["git", "-C", repository, *arguments], input=stdin, capture_output=True, check=True, env=plain
    )
    return done.stdout


def _change(tree: Path, chance: Random) -> None:
    """Add, edit, remove, relink and replace some entries."""
    for _ in range(chance.randint(1, 12)):
        parts = chance.choices(NAMES, k=chance.randint(1, 3))
        place = tree.joinpath(*map(os.fsdecode, parts))
        if any(parent.is_symlink() or parent.is_file() for parent in place.parents):
            continue
        if place.is_symlink() or place.is_file():
            place.unlink()
            if chance.random() < 0.5:
                continue
        if place.is_dir():
            continue
        place.parent.mkdir(parents=True, exist_ok=True)
        if chance.random() < 0.2:
            place.symlink_to(chance.choice(["elsewhere", "../away", "a b"]))
        else:
            place.write_bytes(chance.randbytes(chance.randint(0, 40)))


@pytest.fixture
def repository(tmp_path: Path) -> Path:
    """A real repository with hostile names and several commits."""
    tree = tmp_path / "repository"
    tree.mkdir()
    _git(tree, "init", "--quiet")
    chance = Random(20261125)
    for number in range(COMMITS):
        _change(tree, chance)
        (tree / "always").write_text(str(number), encoding="ascii")
        _git(tree, "add", "--all", "--force")
        who = ("-c", "user.name=Warden", "-c", "user.email=warden@saltreach.example")
        _git(tree, *who, "commit", "--quiet", "--message", f"Change {number}")
    return tree


def _manifest_of(repository: Path, commit: str, folder: Path) -> Manifest:
    """Make a manifest of a commit's files and links, each with an mtime made from its blob's id."""
    listed = _git(repository, "ls-tree", "-r", "-z", "-l", commit)
    rows = []
    for record in filter(None, listed.split(b"\0")):
        said, path = record.split(b"\t", 1)
        mode, _, blob, size = said.decode("ascii").split()
        kind = KINDS[mode]
        rows.append(
            Row(
                path=path,
                kind=kind,
                size=0 if size == "-" else int(size),
                mtime_ns=int(blob[:12], 16) * 1000,  # at most 2**48 µs: before 1979, and never odd
                target=blob.encode("ascii") if kind is Kind.LINK else None,
            )
        )
    return a_manifest(folder, rows)


def _git_says(repository: Path, older: str, newer: str) -> dict[bytes, str]:
    """Return the letters for all paths that differ. A submodule's commit is no file: left aside."""
    said = _git(repository, "diff", "--name-status", "--no-renames", "-z", "--ignore-submodules=all", older, newer)
    fields = said.split(b"\0")[:-1]
    return {path: letter.decode("ascii") for letter, path in zip(fields[::2], fields[1::2], strict=True)}


def _we_say(older: Manifest, newer: Manifest, folder: Path) -> dict[bytes, str]:
    """Take the newer commit for the original: what its copy, the older one, lacks was added."""
    work = Workspace(folder=folder, memory=MEMORY, seed=SEED, window=50)
    matched = match(newer, older, leave_out=(), work=work)
    letters = {RowClass.MISSING: "A", RowClass.EXTRA: "D"}
    said = {}
    for row in differing_rows(matched.relation):
        kinds = {side.kind for side in (row.original, row.copy) if side}
        if Kind.OTHER not in kinds:
            said[row.path] = letters.get(row.row_class, "T" if len(kinds) > 1 else "M")
    return said


def _only_mode(repository: Path, older: str, newer: str) -> set[bytes]:
    """Return the paths of which only the permission differs: no part of a manifest."""
    raw = _git(repository, "diff", "--raw", "--no-renames", "-z", "--abbrev=40", older, newer).split(b"\0")[:-1]
    return {path for said, path in zip(raw[::2], raw[1::2], strict=True) if len({*said.split()[2:4]}) == 1}


def _compare_commits(repository: Path, commits: list[str], folder: Path) -> None:
    for older, newer in pairwise(commits):
        manifests = [_manifest_of(repository, commit, folder) for commit in (older, newer)]
        wanted = _git_says(repository, older, newer)
        for path in _only_mode(repository, older, newer):
            wanted.pop(path, None)
        assert _we_say(manifests[0], manifests[1], folder) == wanted


def test_commits_of_a_repository_differ_as_git_says(repository: Path, tmp_path: Path) -> None:
    commits = _git(repository, "rev-list", "--reverse", "HEAD").decode("ascii").split()
    assert len(commits) == COMMITS

    _compare_commits(repository, commits, tmp_path)
    _compare_commits(repository, [commits[0], commits[-1]], tmp_path)


def test_the_last_commits_of_any_repository_differ_as_git_says(tmp_path: Path) -> None:
    """Of the repository that the environment names, else of this one where it is checked out, else of none."""
    named = os.environ.get("COVERAGE_AUDIT_GIT_REPOSITORY")
    place = Path(named) if named else Path(__file__).parents[2]
    if not named and not (place / ".git").exists():
        return  # an unpacked archive: the repository built above is the check
    commits = _git(place, "rev-list", "--max-count=12", "HEAD").decode("ascii").split()

    _compare_commits(place, commits[::-1], tmp_path)


PATTERNS = [
    ["*.txt"],
    ["b.txt", "!A/b.txt"],
    ["/a", "!/a/a"],
    ["a/**", "!a/a"],
    ["*", "!a", "!*.txt"],
    ["[aA]", "# a comment", ""],
    ["A/*/a", "\\$(reboot)"],
    ["new*", "tab\tquote'\"", "\udcff*"],
    ["a/b.txt/", "!a/"],
    ["a/**/", "!a/**/b.txt/"],
]
PARTS = ["a", "A", "b.txt", "*", "**", "?", "*.txt", "[ab]*", "-rf", "b*", "[!a]", "new*", "[a-b].txt"]


def _made_up_patterns(chance: Random) -> list[str]:
    return [
        chance.choice(["", "", "!"])
        + chance.choice(["", "", "/"])
        + "/".join(chance.choices(PARTS, k=chance.randint(1, 3)))
        + chance.choice(["", "", "/"])
        for _ in range(chance.randint(1, 4))
    ]


def test_what_is_left_out_is_what_git_ignores(tmp_path: Path) -> None:
    tree = tmp_path / "tree"
    tree.mkdir()
    _git(tree, "init", "--quiet")
    chance = Random(7)
    for _ in range(60):
        _change(tree, chance)
    paths = sorted(
        bytes(path.relative_to(tree)) for path in tree.rglob("*") if ".git" not in path.relative_to(tree).parts
    )
    assert len(paths) > 50

    for patterns in [*PATTERNS, *(_made_up_patterns(chance) for _ in range(60))]:
        ignored = _ignored(tree, patterns, paths)
        codes = np.array([_code(tree / os.fsdecode(path)) for path in paths], dtype=np.uint8)
        which = LeavingOut(patterns).which_of(pa.array(paths, pa.binary()), codes)
        assert {path for path, number in zip(paths, which, strict=True) if number != KEPT} == ignored, patterns


@pytest.mark.parametrize("own", [(), ("!Thumbs.db",), ("!.Trashes/", "*.wav"), ("!lost+found/keep",)])
def test_litter_and_a_datasets_own_patterns_are_what_git_ignores_with_both_in_one_file(
    tmp_path: Path, own: tuple[str, ...]
) -> None:
    tree = tmp_path / "tree"
    tree.mkdir()
    _git(tree, "init", "--quiet")
    for name in (
        ".DS_Store", "deep/.DS_Store", ".DS_Store.wav", "Thumbs.db", "a/thumbs.db", "desktop.ini", "in/desktop.ini/x",
        ".Trashes/1/x.wav", "a/.Trashes", "System Volume Information/guid", "$RECYCLE.BIN/S-1/x", "$RECYCLE.BIN.txt",
        ".Trash-1000/files/x", ".Trash-x/y", ".nfs000a1", ".nfs-notes", "lost+found/keep", "b/lost+found/#12",
        "c/lost+found", "take.wav",
    ):  # fmt: skip
        file = tree / "d" / name if (tree / name).exists() else tree / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(b"x")
    paths = sorted(bytes(path.relative_to(tree)) for path in tree.rglob("*") if ".git" not in path.parts)
    dataset = Dataset(id=DatasetId("tapes"), policy=PolicyId("careful"), original=ORIGINAL, copies=(), leave_out=own)
    patterns = patterns_of(read_litter(defaults_folder() / "litter.yaml"), dataset)

    codes = np.array([_code(tree / os.fsdecode(path)) for path in paths], dtype=np.uint8)
    which = LeavingOut(patterns).which_of(pa.array(paths, pa.binary()), codes)

    left = {path for path, number in zip(paths, which, strict=True) if number != KEPT}
    assert left == _ignored(tree, list(patterns), paths)
    assert b".DS_Store" in left
    assert b"$RECYCLE.BIN/S-1/x" in left
    assert (b"Thumbs.db" in left) is ("!Thumbs.db" not in own)


def _ignored(tree: Path, patterns: list[str], paths: list[bytes]) -> set[bytes]:
    (tree / ".git/info/exclude").write_bytes(b"\n".join(os.fsencode(line) for line in patterns) + b"\n")
    answer = subprocess.run(
        ["git", "-C", tree, "check-ignore", "--no-index", "-z", "--stdin"],
        input=b"\0".join(paths) + b"\0",
        capture_output=True,
        check=False,  # 1 means: none is ignored
    )
    assert answer.returncode in {0, 1}
    return set(answer.stdout.split(b"\0")[:-1])


def _code(path: Path) -> int:
    return ord("d") if path.is_dir() and not path.is_symlink() else ord("f")
