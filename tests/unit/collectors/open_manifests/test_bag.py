from __future__ import annotations

import hashlib

import pytest

from coverage_audit.collectors.readers.open_manifests import BagFile, OpenManifestError, parse_bag

DECLARED = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
ONE = hashlib.sha256(b"one").hexdigest().encode()
MD5 = hashlib.md5(b"one", usedforsecurity=False).hexdigest().encode()
PLAIN = ONE + b"  data/a\n" + ONE + b"  data/b\n"


def bag(*, declared: bytes | None = DECLARED, **files: bytes) -> list[BagFile]:
    """A bag; `manifest_sha256` stands for manifest-sha256.txt, `bag_info` for bag-info.txt."""
    named = [BagFile(name=name.replace("_", "-").encode() + b".txt", content=text) for name, text in files.items()]
    return named if declared is None else [BagFile(name=b"bagit.txt", content=declared), *named]


def test_the_payload_is_the_tree() -> None:
    listed = parse_bag(bag(manifest_sha256=PLAIN))

    assert listed.columns.paths == [b"a", b"b"]
    assert (listed.digest, listed.how) == ("sha256", "bagit 1.0")
    assert listed.lacks >= {"size", "mtime", "kinds"}


def test_carriage_return_newline_and_percent_are_decoded_and_only_those() -> None:
    # RFC 8493, 2.1.3
    listed = parse_bag(bag(manifest_sha256=ONE + b"\tdata/a%0Ab%0dc%25d\n"))
    assert listed.columns.paths == [b"a\nb\rc%d"]


def test_before_version_1_a_percent_sign_was_no_escape() -> None:
    declared = DECLARED.replace(b"1.0", b"0.97")
    listed = parse_bag(bag(declared=declared, manifest_sha256=ONE + b"  data/100%25 a%0Ab\n"))
    assert listed.columns.paths == [b"100%25 a\nb"]


@pytest.mark.parametrize("end", [b"\r\n", b"\r"])
def test_lines_may_end_in_each_of_the_three_ways(end: bytes) -> None:
    files = bag(declared=DECLARED.replace(b"\n", end), manifest_sha256=PLAIN.replace(b"\n", end))
    assert parse_bag(files).columns.paths == [b"a", b"b"]


def test_what_is_still_to_be_fetched_is_not_held() -> None:
    listed = parse_bag(bag(manifest_sha256=PLAIN, fetch=b"https://heron.example/a - data/a\n"))
    assert listed.columns.paths == [b"b"]


def test_names_in_another_encoding_are_those_on_disk() -> None:
    declared = DECLARED.replace(b"UTF-8", b"ISO-8859-1")
    listed = parse_bag(bag(declared=declared, manifest_sha256=ONE + b"  data/\xe9\n"))
    assert listed.columns.paths == ["é".encode()]


def test_names_that_are_no_utf_8_are_kept_byte_by_byte() -> None:
    assert parse_bag(bag(manifest_sha256=ONE + b"  data/\xff\n")).columns.paths == [b"\xff"]


def test_the_strongest_of_several_manifests_is_taken() -> None:
    weaker = MD5 + b"  data/b\n" + MD5 + b"  data/a\n"
    assert parse_bag(bag(manifest_md5=weaker, manifest_sha256=PLAIN)).digest == "sha256"


TAGS = hashlib.sha256(PLAIN).hexdigest().encode() + b"  manifest-sha256.txt\n"


def test_a_tag_manifest_that_agrees_is_no_hindrance() -> None:
    assert len(parse_bag(bag(manifest_sha256=PLAIN, tagmanifest_sha256=TAGS))) == 2


@pytest.mark.parametrize(
    ("files", "why"),
    [
        (bag(declared=None, manifest_sha256=PLAIN), "this is no bag"),
        (bag(), "no payload manifest"),
        (bag(manifest_crc32=b"x\n"), "no payload manifest"),
        (bag(declared=b"\xef\xbb\xbf" + DECLARED, manifest_sha256=PLAIN), "byte order mark"),
        (bag(declared=b"BagIt-Version: 1.0\n", manifest_sha256=PLAIN), "two lines"),
        (bag(declared=DECLARED.replace(b"1.0", b"2.0"), manifest_sha256=PLAIN), "BagIt 2.0 is not known"),
        (bag(declared=DECLARED.replace(b"UTF-8", b"zip"), manifest_sha256=PLAIN), "zip is not known"),
        (bag(manifest_sha256=b""), "empty"),
        (bag(manifest_sha256=PLAIN[:-1]), "manifest-sha256.txt, line 2: its last line has no end"),
        (bag(manifest_sha256=b"\xef\xbb\xbf" + PLAIN), "byte order mark"),
        (bag(manifest_sha256=PLAIN + PLAIN), "listed twice"),
        (bag(manifest_sha256=PLAIN + ONE[:63] + b"  data/c\n"), "line 3"),
        (bag(manifest_sha256=ONE + b"  data/a%41\n"), "no escape"),
        (bag(manifest_sha256=ONE + b"  data/100%\n"), "no escape"),
        (bag(manifest_sha256=ONE + b"  a\n"), "outside of the payload"),
        (bag(manifest_sha256=ONE + b"  data/../../a\n"), "outside of the tree"),
        (bag(manifest_sha256=ONE + b"  /data/a\n"), "absolute"),
        (bag(manifest_sha256=ONE + b"  data/d/\n"), "a folder"),
        (bag(manifest_sha256=PLAIN, manifest_md5=MD5 + b"  data/a\n"), "stands in only one"),
        (bag(manifest_sha256=PLAIN, tagmanifest_sha256=TAGS.replace(TAGS[:4], b"0000")), "not what it was"),
        (bag(manifest_sha256=PLAIN, tagmanifest_sha256=ONE + b"  bag-info.txt\n"), "is not there"),
        (bag(manifest_sha256=PLAIN, bag_info=b"Payload-Oxum: 9.3\n"), "Payload-Oxum says 3 files"),
        (bag(manifest_sha256=PLAIN, fetch=b"https://heron.example/a - data/zz\n"), "is to be fetched"),
        (bag(manifest_sha256=PLAIN, fetch=b"data/a\n"), "no address"),
    ],
)
def test_what_is_wrong_is_said_and_gives_no_evidence(files: list[BagFile], why: str) -> None:
    with pytest.raises(OpenManifestError, match=why):
        parse_bag(files)
