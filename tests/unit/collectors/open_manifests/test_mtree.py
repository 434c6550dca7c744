from __future__ import annotations

import pytest

from coverage_audit.collectors.readers.open_manifests import OpenManifestError, parse_mtree

HEAD = b"#mtree\n. type=dir\n"
MD5 = b"d41d8cd98f00b204e9800998ecf8427e"
SHA256 = b"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def test_relative_entries_enter_folders_and_two_dots_leave_them() -> None:
    listed = parse_mtree(
        b"/set type=file nlink=1\n. type=dir\n a size=1 time=5.1\n d type=dir\n    b size=2 \\\n   time=-4.750000000\n"
        b"  ..\n  l type=link link=to\\040d time=0\n..\n"
    )

    columns = listed.columns
    assert columns.paths == [b"a", b"d", b"d/b", b"l"]
    assert columns.kinds == b"fdfl"
    assert list(columns.sizes) == [1, 0, 2, 4]
    # NetBSD's mtree and libarchive: behind the point stands a count of nanoseconds, upwards from the whole second
    assert list(columns.mtimes) == [5_000_000_001, 0, -3_250_000_000, 0]
    assert columns.targets == [None, None, None, b"to d"]
    assert list(columns.links or ()) == [1, 1, 1, 1]
    assert listed.lacks == {"ctime", "blocks"}


def test_full_paths_are_relative_to_the_root() -> None:
    listed = parse_mtree(HEAD + b"./d type=dir\n./d/a type=file size=1 time=1.0\nd/b type=file size=1 time=1.0\n")
    assert listed.columns.paths == [b"d", b"d/a", b"d/b"]


def test_what_a_single_file_lacks_the_whole_listing_lacks() -> None:
    listed = parse_mtree(HEAD + b"a type=file size=7 time=1.0\nb type=file\n")
    assert listed.lacks >= {"size", "mtime", "links"}
    assert list(listed.columns.sizes) == [0, 0]


def test_the_strongest_digest_that_most_files_bear_is_taken() -> None:
    both = b" md5digest=" + MD5 + b" sha256=" + SHA256.upper()
    listed = parse_mtree(HEAD + b"a type=file size=0" + both + b"\nb type=file size=0" + both + b"\n")
    assert listed.digest == "sha256"
    assert listed.columns.digests == [bytes.fromhex(SHA256.decode())] * 2


def test_unset_takes_a_default_back() -> None:
    listed = parse_mtree(
        b"/set type=file size=3\n. type=dir\na\n/unset size\nb\n/set size=1\n/unset all\nc type=file\n"
    )
    assert "size" in listed.lacks
    assert listed.columns.paths == [b"a", b"b", b"c"]


def test_what_may_be_absent_or_is_ignored_is_a_blind_place() -> None:
    listed = parse_mtree(HEAD + b"a type=file optional\nd type=dir ignore\n..\nb type=file\n")
    assert listed.columns.paths == [b"d", b"b"]
    assert [place.path for place in listed.blind] == [b"a", b"d"]


def test_what_lies_below_a_folder_that_may_be_absent_may_be_absent_too() -> None:
    listed = parse_mtree(
        HEAD + b"o type=dir optional\n  s type=dir\n    a type=file size=1 time=1.0\n  ..\n..\nb type=file\n"
    )
    assert listed.columns.paths == [b"b"]
    assert {place.path for place in listed.blind} >= {b"o"}


def test_of_what_may_change_nothing_is_shown_but_that_it_is_there() -> None:
    """mtree(5): "nochange: make sure this file or directory exists but otherwise ignore all attributes"."""
    listed = parse_mtree(HEAD + b"a type=file size=7 time=1.0 nochange\nd type=dir nochange\n..\nb type=file\n")
    assert listed.columns.paths == [b"d", b"b"]
    assert [place.path for place in listed.blind] == [b"a"]


def test_a_specification_that_ignores_what_lies_below_its_root_tells_nothing_of_what_it_does_not_list() -> None:
    listed = parse_mtree(b"#mtree\n. type=dir ignore\na type=file size=7 time=1.0\n")
    assert [place.path for place in listed.blind] == [b""]


def test_lines_may_end_as_on_dos_since_no_name_can_hold_a_bare_carriage_return() -> None:
    assert parse_mtree(b"#mtree\r\n. type=dir\r\na type=file\r\n").columns.paths == [b"a"]


@pytest.mark.parametrize(
    ("text", "line", "why"),
    [
        (b"", None, "empty"),
        (b"#mtree\n", None, "lists nothing"),
        (HEAD, None, "lists nothing"),
        (b"\xff\xfe#mtree\n", 1, "byte order mark"),
        (HEAD + b"a type=file size=12", 3, "cut"),
        (HEAD + b"a type=file \\\n", 3, "goes on"),
        (HEAD + b"d type=dir\na type=file\n", None, "d is not left at the end"),
        (HEAD + b"a\0 type=file\n", 3, "NUL"),
        (HEAD + b"a\\000 type=file\n", 3, "NUL"),
        (HEAD + b"a size=1\n", 3, "no type"),
        (HEAD + b"a type=fil\n", 3, "not known"),
        (HEAD + b"a type=file size=-1\n", 3, "size=-1"),
        (HEAD + b"a type=file size=9223372036854775808\n", 3, "no sense"),
        (HEAD + b"a type=file time=5.\n", 3, "no sense"),
        (HEAD + b"a type=file time=5.1234567890\n", 3, "no sense"),
        (HEAD + b"a type=file md5=" + MD5[:-1] + b"\n", 3, "no whole md5"),
        (HEAD + b"a type=file md5=" + SHA256 + b"\n", 3, "no whole md5"),
        (HEAD + b"a type=link link=\\q\n", 3, "no sense"),
        (HEAD + b"a type=link link=\\000\n", 3, "target"),
        (HEAD + b"a\\q type=file\n", 3, "bad escape"),
        (HEAD + b"a\\ type=file\n", 3, "bad escape"),
        (HEAD + b"a\\057b type=file\n", 3, "escaped slash"),
        (HEAD + b"\\056\\056 type=file\n", 3, "outside"),
        (HEAD + b"./../a type=file\n", 3, "outside"),
        (HEAD + b"/etc/passwd type=file\n", 3, "neither /set nor /unset"),
        (HEAD + b"..\n..\n", 4, "outside"),
        (HEAD + b"..\na type=file\n", 4, "after the root was left"),
        (HEAD + b"d/a type=file\n", 3, "a folder that is not listed"),
        (HEAD + b"./a type=file\nb type=file\n", 4, "after full paths"),
        (HEAD + b"a type=file\na type=file\n", 4, "listed twice, first in line 3"),
        (HEAD + b"a type=file\n./a type=file\n", 4, "listed twice"),
        (HEAD + b"a type=file\n./a/b type=file\n", 4, "a folder that is not listed"),
        (HEAD + b"a type=file # note\n", 3, "comment"),
        (HEAD + b"a#b type=file\n", 3, "comment"),
        (b"type=dir .\n", 1, "must stand first"),
        (b". type=file\n", 1, "root is no folder"),
    ],
)
def test_what_is_wrong_is_said_with_its_line_and_gives_no_evidence(text: bytes, line: int | None, why: str) -> None:
    with pytest.raises(OpenManifestError) as refused:
        parse_mtree(text)

    assert refused.value.line == line
    assert why in refused.value.why
    assert refused.value.mend


def test_folders_within_folders_without_end_do_not_fill_memory() -> None:
    with pytest.raises(OpenManifestError):
        parse_mtree(b"/set type=dir\n.\n" + b"a\n" * 200_000)
    deep = b"/set type=file\n. type=dir\n" + b"dddddddd type=dir\n" * 400
    with pytest.raises(OpenManifestError, match="fill memory"):
        parse_mtree(deep + b"".join(b"%d\n" % name for name in range(100_000)))
