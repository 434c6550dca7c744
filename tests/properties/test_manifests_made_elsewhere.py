"""Laws of the readers of open manifests: any bytes give rows or the one clear error; every name comes back."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.collectors.readers.open_manifests import (
    BagFile,
    OpenManifestError,
    parse_bag,
    parse_checksums,
    parse_mtree,
)
from coverage_audit.evidence.batches.listed import listed_rows

DIGEST = b"ab" * 32
DECLARED = BagFile(name=b"bagit.txt", content=b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
# Pieces of which the formats are made, so that chance comes far into the readers.
pieces = st.sampled_from(
    [
        DIGEST, b"  ", b" *", b"\n", b"\0", b"\\", b"SHA256 (", b") = ", b"\\\n", b"#mtree\n", b"/set type=file\n",
        b"..", b"/unset all\n", b" type=dir", b" type=file", b" type=link link=", b" size=", b" time=1.5", b"./",
        b"data/", b"%0A", b"%", b"\r", b"\\M-", b"\\^", b"\\M^?", b"\\057", b"/", b" optional", b" sha256=" + DIGEST,
        b" nlink=1", b". type=dir\n", b"\\ ", b"=", b"a", b"\xff", b"\xef\xbb\xbf",
    ]
)  # fmt: skip
texts = st.lists(pieces | st.binary(max_size=4), max_size=40).map(b"".join)
names = st.binary(min_size=1, max_size=8).filter(
    lambda name: not {0, ord("/")} & set(name) and name not in {b".", b".."}
)
trees = st.lists(st.lists(names, min_size=1, max_size=3).map(b"/".join), min_size=1, max_size=5, unique=True).filter(
    lambda paths: not any(one != other and other.startswith(one + b"/") for one in paths for other in paths)
)


@settings(deadline=None, max_examples=400)
@given(texts)
def test_no_bytes_crash_a_reader(text: bytes) -> None:
    with suppress(OpenManifestError):
        list(listed_rows(parse_checksums(text).columns))
    with suppress(OpenManifestError):
        list(listed_rows(parse_mtree(text).columns))
    with suppress(OpenManifestError):
        parse_bag([DECLARED, BagFile(name=b"manifest-sha256.txt", content=text)])
    with suppress(OpenManifestError):
        parse_bag([BagFile(name=b"bagit.txt", content=text), BagFile(name=b"manifest-sha256.txt", content=DIGEST)])
    with suppress(OpenManifestError):
        whole = BagFile(name=b"manifest-sha256.txt", content=DIGEST + b"  data/a\n")
        parse_bag(
            [DECLARED, whole, BagFile(name=b"fetch.txt", content=text), BagFile(name=b"bag-info.txt", content=text)]
        )


@given(trees)
def test_every_name_comes_back_from_each_form_of_a_checksum_file(paths: list[bytes]) -> None:
    # The four forms as coreutils document them ("cksum output modes").
    plain = b"".join(_marked(path, DIGEST + b"  %s") + b"\n" for path in paths)
    tagged = b"".join(_marked(path, b"SHA256 (%s) = " + DIGEST) + b"\n" for path in paths)
    zero = b"".join(DIGEST + b" *./" + path + b"\0" for path in paths)
    zero_tagged = b"".join(b"SHA256 (" + path + b") = " + DIGEST + b"\0" for path in paths)
    for text in (plain, tagged, zero, zero_tagged):
        if DIGEST + b"  -\n" not in text:
            assert parse_checksums(text).columns.paths == paths


def _marked(path: bytes, shape: bytes) -> bytes:
    escaped = path.replace(b"\\", b"\\\\").replace(b"\n", b"\\n").replace(b"\r", b"\\r")
    return (b"\\" if escaped != path else b"") + shape % escaped


@given(trees)
def test_every_name_comes_back_from_full_and_relative_entries_of_mtree(paths: list[bytes]) -> None:
    folders = sorted(
        {b"/".join(path.split(b"/")[:depth]) for path in paths for depth in range(1, path.count(b"/") + 1)}
    )
    full = b"#mtree\n. type=dir\n"
    full += b"".join(b"./" + b"/".join(map(_octal, path.split(b"/"))) + b" type=dir\n" for path in folders)
    full += b"".join(b"./" + b"/".join(map(_octal, path.split(b"/"))) + b" type=file\n" for path in paths)
    assert parse_mtree(full).columns.paths == [*folders, *paths]

    flat = [path for path in paths if b"/" not in path]
    relative = b". type=dir\n" + b"".join(_octal(name) + b" type=file\n" for name in flat)
    if flat:
        assert parse_mtree(relative).columns.paths == flat


def _octal(name: bytes) -> bytes:
    """As mtree(5) says: all but the printing characters of ASCII, and those of the format itself."""
    return b"".join(bytes([c]) if 33 <= c <= 126 and c not in b"\\#=" else b"\\%03o" % c for c in name)


@given(trees)
def test_every_name_comes_back_from_a_bag(paths: list[bytes]) -> None:
    # RFC 8493, 2.1.3
    text = b"".join(
        DIGEST + b"  data/" + path.replace(b"%", b"%25").replace(b"\n", b"%0A").replace(b"\r", b"%0D") + b"\n"
        for path in paths
    )
    assert parse_bag([DECLARED, BagFile(name=b"manifest-sha256.txt", content=text)]).columns.paths == paths


@given(trees, st.data())
def test_a_manifest_that_is_cut_within_a_line_is_never_evidence(paths: list[bytes], data: st.DataObject) -> None:
    text = b"".join(_marked(path, DIGEST + b"  %s") + b"\n" for path in paths)
    end = data.draw(st.integers(1, len(text) - 1))
    if text[end - 1 : end] != b"\n":
        for read in (parse_checksums, parse_mtree):
            with pytest.raises(OpenManifestError):
                read(text[:end])
