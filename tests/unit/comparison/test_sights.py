"""What a copy cannot hold as it was, and what usual targets refuse: said beside what differs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from coverage_audit.comparison.compare import match
from coverage_audit.comparison.refused_names import refused
from coverage_audit.comparison.types import Workspace
from coverage_audit.evidence.difference import Seen, Sight
from coverage_audit.evidence.manifest import Blind, Kind, Row
from tests.builders.manifests import MEMORY, SEED, a_folder, a_link, a_manifest, a_row

MIB = 1 << 20


def seen(folder: Path, original: Sequence[Row], copy: Sequence[Row], **asked: Any) -> tuple[Seen, ...]:
    work = Workspace(folder=folder, memory=MEMORY, seed=SEED)
    root = asked.pop("root", "/srv/pool/copy")
    return match(
        a_manifest(folder, original), a_manifest(folder, copy, root=root), leave_out=(), work=work, **asked
    ).sights


def test_hard_links_that_became_files_of_their_own_are_counted_with_one_of_them(tmp_path: Path) -> None:
    original = [a_row(b"a", links=2), a_row(b"b", links=2), a_row(b"c", links=2), a_row(b"d", links=1)]
    copy = [replace(original[0], links=1), replace(original[1], links=1), original[2], original[3]]

    assert seen(tmp_path, original, copy) == (Seen(sight=Sight.UNLINKED, entries=2, example=b"a"),)


def test_hard_links_that_are_kept_or_not_shown_are_no_matter(tmp_path: Path) -> None:
    original = [a_row(b"a", links=2), a_row(b"b", links=2)]

    assert seen(tmp_path, original, original) == ()
    assert seen(tmp_path, original, [replace(row, links=None) for row in original]) == ()


def test_a_hard_link_that_is_missing_is_no_placeholder(tmp_path: Path) -> None:
    original = [a_row(b"a", links=2, blocks=8), a_row(b"b", links=2, blocks=8)]

    assert seen(tmp_path, original, original[:1]) == ()


def test_a_sparse_file_that_takes_up_all_of_its_size_in_the_copy_is_said(tmp_path: Path) -> None:
    original = [a_row(b"image", size=MIB, blocks=8), a_row(b"full", size=MIB, blocks=2048)]

    found = seen(tmp_path, original, [replace(row, blocks=2048) for row in original])

    assert found == (Seen(sight=Sight.FILLED, entries=1, example=b"image"),)


@pytest.mark.parametrize("kept", [{"blocks": None}, {"blocks": 4096, "size": 2 * MIB}])
def test_what_does_not_show_its_blocks_or_is_of_another_size_is_not_filled(
    tmp_path: Path, kept: dict[str, Any]
) -> None:
    original = [a_row(b"image", size=MIB, blocks=8)]

    assert seen(tmp_path, original, [replace(original[0], **kept)]) == ()


def test_a_file_of_a_size_that_takes_up_nothing_and_is_missing_is_a_placeholder(tmp_path: Path) -> None:
    original = [a_row(b"away", size=MIB, blocks=0), a_row(b"here")]

    assert seen(tmp_path, original, original[1:]) == (Seen(sight=Sight.PLACEHOLDER, entries=1, example=b"away"),)


def test_a_placeholder_of_which_the_copy_holds_an_older_version_is_not_missing(tmp_path: Path) -> None:
    original = [a_row(b"away", size=MIB, blocks=0)]

    assert seen(tmp_path, original, [replace(original[0], size=7, mtime_ns=original[0].mtime_ns - 9)]) == ()


def test_special_files_that_are_missing_or_of_another_kind_are_said(tmp_path: Path) -> None:
    pipes = [a_row(name, kind=Kind.OTHER, size=0) for name in (b"held", b"gone", b"turned")]

    found = seen(tmp_path, pipes, [pipes[0], a_row(b"turned")])

    assert found == (Seen(sight=Sight.SPECIAL, entries=2, example=b"gone"),)


@pytest.mark.parametrize(
    ("path", "why"),
    [
        (b"a/take 1:30.wav", "the sign :"),
        (b"what?/x", "the sign ?"),
        (b"ends./x", "a dot or blank at the end"),
        (b"x/ends ", "a dot or blank at the end"),
        (b"two\nlines", "a control character"),
        ("c1\u0085".encode(), "a control character"),
        (b"latin-\xe9", "no UTF-8"),
        ("\u00e9".encode() * 120, "too long once its letters are taken apart"),
        (b"plain/.hidden-name_1.wav", ""),
        ("f\u00fcr".encode(), ""),
    ],
)
def test_names_that_usual_targets_refuse_are_told_with_why(path: bytes, why: str) -> None:
    """Microsoft, "Naming Files, Paths, and Namespaces"; 255 bytes a name: NAME_MAX of Linux (limits.h)."""
    assert refused(path) == why


def test_refused_names_are_counted_among_what_is_missing_alone(tmp_path: Path) -> None:
    original = [a_row(b"a:b"), a_row(b"c:d"), a_row(b"held:x"), a_row(b"plain")]

    found = seen(tmp_path, original, [original[2]])

    assert found == (Seen(sight=Sight.REFUSED_NAME, entries=2, example=b"a:b", beside=b"the sign :"),)


def test_names_beyond_ascii_are_looked_at_too(tmp_path: Path) -> None:
    (found,) = seen(tmp_path, [a_row("c1\u0085".encode()), a_row("f\u00fcr".encode())], [])

    assert (found.entries, found.beside) == (1, b"a control character")


def test_refused_names_of_folders_of_what_changed_and_of_what_was_not_seen_are_not_counted(tmp_path: Path) -> None:
    mine = a_manifest(tmp_path, [a_folder(b"d:"), a_row(b"older:x"), a_folder(b"shut"), a_row(b"shut/a:b")])
    listed = [a_row(b"older:x", size=7), a_folder(b"shut")]
    copy = a_manifest(tmp_path, listed, blind=[Blind(path=b"shut", why="denied")])
    work = Workspace(folder=tmp_path, memory=MEMORY, seed=SEED)

    assert match(mine, copy, leave_out=(), work=work).sights == ()


ROOTS = (b"/srv/pool", b"/srv/other")


@pytest.mark.parametrize(
    ("path", "target", "away"),
    [
        (b"l", b"inside", False),
        (b"d/l", b"../inside", False),
        (b"d/l", b"../../sibling", False),  # /srv/pool/sibling is declared
        (b"d/l", b"../../../../etc/passwd", True),
        (b"l", b"/etc/passwd", True),
        (b"l", b"/srv/other/x", False),
        (b"l", b"/srv/otherwise", True),
        (b"l", b"/srv/pool/copy/inside", False),
        (b"l", b"/srv/pool/copy/gone", True),
        (b"l", b"/srv/pool/copy", False),
        (b"l", b"gone", False),  # a relative link that dangled in the original too
    ],
)
def test_links_that_lead_outside_what_is_declared_or_nowhere_are_told(
    tmp_path: Path, path: bytes, target: bytes, *, away: bool
) -> None:
    tree = [a_folder(b"d"), a_row(b"inside"), a_link(path, target)]

    found = seen(tmp_path, tree, tree, roots=ROOTS)

    expected = (Seen(sight=Sight.LEADING_OUT, entries=1, example=path, beside=target),)
    assert found == (expected if away else ())


def test_links_to_one_place_that_is_gone_are_all_counted(tmp_path: Path) -> None:
    tree = [a_row(b"a"), a_link(b"l", b"/srv/pool/copy/gone"), a_link(b"m", b"/srv/pool/copy/gone")]

    (found,) = seen(tmp_path, tree, tree, roots=ROOTS)

    assert (found.sight, found.entries) == (Sight.LEADING_OUT, 2)


def test_the_tree_itself_is_no_place_outside_whatever_is_declared(tmp_path: Path) -> None:
    tree = [a_row(b"a"), a_link(b"l", b"a")]

    assert seen(tmp_path, tree, tree, roots=()) == ()


def test_links_are_not_looked_at_where_nothing_declared_is_known(tmp_path: Path) -> None:
    tree = [a_link(b"l", b"/etc/passwd")]

    assert seen(tmp_path, tree, tree) == ()
