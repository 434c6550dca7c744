from __future__ import annotations

import hashlib

import pytest

from coverage_audit.collectors.readers.open_manifests import OpenManifestError, parse_checksums

ONE = hashlib.sha256(b"one").hexdigest().encode()
TWO = hashlib.sha256(b"two").hexdigest().encode()
MD5 = hashlib.md5(b"one", usedforsecurity=False).hexdigest().encode()


def test_a_plain_file_gives_paths_and_digests_and_says_what_it_lacks() -> None:
    listed = parse_checksums(ONE + b"  a/b\n" + TWO.upper() + b" *./c\n")

    assert listed.columns.paths == [b"a/b", b"c"]
    assert listed.columns.digests == [hashlib.sha256(b"one").digest(), hashlib.sha256(b"two").digest()]
    assert listed.digest == "sha256"
    assert listed.lacks == {"mtime", "size", "ctime", "links", "blocks", "targets", "kinds"}
    assert not any(listed.columns.sizes)
    assert not any(listed.columns.mtimes)


@pytest.mark.parametrize(
    ("text", "path"),
    [
        (b"\\" + ONE + b"  a\\nb\\\\c\\rd\n", b"a\nb\\c\rd"),
        (ONE + b"  a\\nb\n", b"a\\nb"),  # without the mark a backslash is a letter: busybox writes so
        (b"SHA256 (a) = x) = " + ONE + b"\n", b"a) = x"),
        (b"\\SHA256 (a\\nb) = " + ONE + b"\n", b"a\nb"),
        (ONE + b"  a\nb\0", b"a\nb"),
        (ONE + b"   a \n", b" a "),
        (ONE + b" **a\n", b"*a"),
        (ONE + b"  (a) = b\n", b"(a) = b"),
        (ONE + b"  \xff\xfe\n", b"\xff\xfe"),
        (ONE + b"  ./-\n", b"-"),
        (ONE + b"  a//./b\n", b"a/b"),
        (b"# made by hand\n" + ONE + b"  a\n", b"a"),
    ],
)
def test_a_name_is_read_as_it_was(text: bytes, path: bytes) -> None:
    assert parse_checksums(text).columns.paths == [path]


@pytest.mark.parametrize(
    ("text", "line", "why"),
    [
        (b"", None, "empty"),
        (b"# nothing\n", None, "lists nothing"),
        (b"\xef\xbb\xbf" + ONE + b"  a\n", 1, "byte order mark"),
        (ONE + b"  a\n" + TWO + b"  b", 2, "cut"),
        (ONE + b"  a\n" + TWO[:40], 2, "cut"),
        (ONE + b"  a\n" + TWO[:40] + b"  b\n", 2, "where sha256 is due"),
        (TWO[:41] + b"  b\n", 1, "no whole digest"),
        (b"SHA256 (a) = " + ONE[:-2] + b"\n", 1, "no whole digest"),
        (b"SHA256 (a) = " + ONE + b"00\n", 1, "no whole digest"),
        (ONE * 3 + b"  a\n", 1, "shape"),
        (b"g" * 64 + b"  a\n", 1, "no whole digest"),
        (ONE + b"  a\r\n", 1, "carriage return"),
        (ONE + b"  a\0b\n", 1, "NUL"),
        (ONE + b"  a\n" + TWO + b"  a\n", 2, "listed twice, first in line 1"),
        (ONE + b"  a\n" + TWO + b"  ./a\n", 2, "listed twice"),
        (ONE + b"  a\n" + TWO + b"  a/b\n", 1, "a folder (line 2), but listed as none"),
        (ONE + b"  a/\n", 1, "a folder, listed as a file"),
        (ONE + b"  .\n", 1, "a folder, listed as a file"),
        (ONE + b"  \n", 1, "the empty name"),
        (ONE + b"  /etc/passwd\n", 1, "absolute"),
        (ONE + b"  a/../../b\n", 1, "outside"),
        (b"\\" + ONE + b"  a\\tb\n", 1, "no escape"),
        (b"\\" + ONE + b"  a\\\n", 1, "no escape"),
        (ONE + b"  a\n" + MD5 + b"  b\n", 2, "where sha256 is due"),
        (b"SHA256 (a) = " + ONE + b"\nSHA1 (b) = " + ONE[:40] + b"\n", 2, "where sha256 is due"),
        (b"BLAKE2b (a) = " + ONE + ONE + b"\n", 1, "not known"),
        (b"SHA256 (a = " + ONE + b"\n", 1, "shape"),
        (ONE + b"  -\n", 1, "standard input"),
        (ONE + b" a\n", 1, "shape"),
        (ONE + b"  a\n\n", 2, "shape"),
        (ONE + b"  " + b"a" * 4097 + b"\n", 1, "longer"),
    ],
)
def test_what_is_wrong_is_said_with_its_line_and_gives_no_evidence(text: bytes, line: int | None, why: str) -> None:
    with pytest.raises(OpenManifestError) as refused:
        parse_checksums(text)

    assert refused.value.line == line
    assert why in refused.value.why
    assert refused.value.mend


def test_the_algorithm_that_is_told_is_kept_to() -> None:
    assert parse_checksums(MD5 + b"  a\n", algorithm="md5").digest == "md5"
    with pytest.raises(OpenManifestError, match="where sha512 is due"):
        parse_checksums(MD5 + b"  a\n", algorithm="sha512")
    with pytest.raises(OpenManifestError, match="crc32 is not known"):
        parse_checksums(MD5 + b"  a\n", algorithm="crc32")


def test_a_name_that_acts_on_terminals_is_shown_escaped() -> None:
    with pytest.raises(OpenManifestError) as refused:
        parse_checksums(ONE + b"  /\x1b[31m\n")
    assert "\x1b" not in str(refused.value)
