"""Open manifests through the comparison, against the programs whose formats they are, on trees that changed since.

The outside tools: `sha256sum -c` and `md5sum -c` (GNU coreutils), `mtree` (NetBSD), `bsdtar` (libarchive), the package
`bagit`. Material that nobody here wrote: RECORD files of installed wheels, the md5sums that dpkg keeps.
"""

from __future__ import annotations

import base64
import csv
import hashlib
import logging
import os
import re
import subprocess
from collections.abc import Callable, Iterable
from importlib.metadata import distributions
from pathlib import Path

import bagit
import pytest

from coverage_audit.collectors.readers.open_manifests import (
    ListedTree,
    OpenManifestError,
    parse_bag,
    parse_checksums,
    parse_mtree,
)
from coverage_audit.collectors.reading_manifests import bag_files, open_manifest_of, read_open_manifest
from coverage_audit.comparison.compare import match
from coverage_audit.comparison.rows import differing_rows
from coverage_audit.comparison.types import Workspace
from coverage_audit.evidence.difference import RowClass
from coverage_audit.evidence.manifest import Kind, Manifest, PartialManifest, Row
from tests.builders.manifests import MEMORY, SEED, STARTED, a_manifest, an_origin

NAMES = [
    b"plain",
    b"new\nline",
    b"back\\slash",
    b"\xff\xfe",
    b"-rf",
    b" lead",
    b"trail ",
    b"cr\rname",
    b"(a) = b",
    b"*star",
]
NAMES += [b"tab\there", b"#hash", b"a=b", b"\\nfake", b"\x1b[31m", b"d/inner", b"d/e/deep \xe2\x80\xae", b"per%0Acent"]
FORMS = [[], ["--binary"], ["--tag"], ["--zero"], ["--tag", "--zero"]]
C = {**os.environ, "LC_ALL": "C"}


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    root = tmp_path / "tree"
    for number, name in enumerate(NAMES):
        file = root / os.fsdecode(name)
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(b"recording %d" % number)
        os.utime(file, ns=(stamp := (1_700_000_000 + number) * 10**9 + number, stamp))
    return root


def spoil(root: Path) -> None:
    """One byte changed (size and time as before), one file missing, one added."""
    changed = root / "back\\slash"
    seen = changed.stat()
    changed.write_bytes(changed.read_bytes()[:-1] + b"x")
    os.utime(changed, ns=(seen.st_atime_ns, seen.st_mtime_ns))
    (root / os.fsdecode(b"\xff\xfe")).unlink()
    (root / "d" / "added").write_bytes(b"new")


SPOILT = {b"back\\slash": "changed", b"\xff\xfe": "missing", b"d/added": "extra"}


def walked(root: Path, folder: Path, algorithm: str) -> Manifest:
    """A walk of our own with digests, so that nothing here rests on the collectors."""
    return a_manifest(folder, _rows(root, algorithm), digest=algorithm)


def _rows(root: Path, algorithm: str) -> Iterable[Row]:
    for place in root.rglob("*"):
        seen = place.lstat()
        path = bytes(place.relative_to(root))
        if place.is_symlink():
            target = os.fsencode(place.readlink())
            yield Row(path=path, kind=Kind.LINK, size=len(target), mtime_ns=seen.st_mtime_ns, target=target)
        elif place.is_dir():
            yield Row(path=path, kind=Kind.FOLDER, size=0, mtime_ns=seen.st_mtime_ns)
        else:
            digest = hashlib.new(algorithm, place.read_bytes(), usedforsecurity=False).digest()
            yield Row(path=path, kind=Kind.FILE, size=seen.st_size, mtime_ns=seen.st_mtime_ns, digest=digest)


def differences(listed: ListedTree, root: Path, folder: Path) -> dict[bytes, str]:
    """What the tree lacks of its own older manifest, and has besides, folders left aside."""
    assert listed.digest is not None
    recorded = evidence(listed, folder)
    matched = match(
        recorded,
        walked(root, folder, listed.digest),
        leave_out=(),
        work=Workspace(folder=folder, memory=MEMORY, seed=SEED),
    )
    words = {RowClass.MISSING: "missing", RowClass.EXTRA: "extra"}
    return {
        row.path: words.get(row.row_class, "changed")
        for row in differing_rows(matched.relation)
        if not (root / os.fsdecode(row.path)).is_dir()
    }


def evidence(listed: ListedTree, folder: Path) -> Manifest:
    work = Workspace(folder=folder, memory=MEMORY, seed=SEED)
    return open_manifest_of(listed, an_origin().address, "/srv/main/recordings", STARTED, work)


def run(*command: str | Path, cwd: Path, **more: bytes) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(command, cwd=cwd, capture_output=True, check=False, env=C, **more)  # type: ignore[call-overload,no-any-return]


def checksums_of(root: Path, tool: str, form: list[str]) -> bytes:
    files = b"".join(bytes(file.relative_to(root)) + b"\0" for file in root.rglob("*") if file.is_file())
    return run("xargs", "-0", tool, *form, "--", cwd=root, input=files).stdout


def coreutils_say(root: Path, tool: str, text: bytes) -> dict[bytes, str]:
    """What `--check` finds; it knows no files that are not listed."""
    done = run(tool, "--check", "--quiet", "-", cwd=root, input=text)
    meaning = {b"FAILED": "changed", b"FAILED open or read": "missing"}
    found = {}
    for line in done.stdout.splitlines():
        name, _, word = line.rpartition(b": ")
        if name.startswith(b"\\"):
            name = re.sub(rb"\\(.)", lambda mark: {b"n": b"\n", b"r": b"\r"}.get(mark[1], mark[1]), name[1:])
        found[name] = meaning[word]
    return found


@pytest.mark.parametrize("tool", ["sha256sum", "md5sum", "sha1sum", "sha224sum", "sha384sum", "sha512sum"])
@pytest.mark.parametrize("form", FORMS, ids=" ".join)
def test_a_checksum_file_finds_what_its_own_check_finds(tree: Path, tmp_path: Path, tool: str, form: list[str]) -> None:
    text = checksums_of(tree, tool, form)
    assert sorted(parse_checksums(text).columns.paths) == sorted(NAMES)
    assert differences(parse_checksums(text), tree, tmp_path) == {}

    spoil(tree)

    found = differences(parse_checksums(text), tree, tmp_path)
    assert found == SPOILT
    if "--zero" not in form:  # which it writes, but cannot check
        said = coreutils_say(tree, tool, text)
        assert {path: what for path, what in found.items() if what != "extra"} == said


def _netbsd(root: Path) -> bytes:
    return run("mtree", "-c", "-k", "type,size,time,link,nlink,sha256", "-p", root, cwd=root).stdout


def _dumped(root: Path) -> bytes:
    return run("mtree", "-C", "-K", "all", cwd=root, input=_netbsd(root)).stdout


def _libarchive(root: Path) -> bytes:
    return run("bsdtar", "--format=mtree", "--options=mtree:sha256", "-cf", "-", ".", cwd=root).stdout


def _libarchive_indented(root: Path) -> bytes:
    return run("bsdtar", "--format=mtree", "--options=mtree:sha256,indent,use-set", "-cf", "-", ".", cwd=root).stdout


WRITERS = [_netbsd, _libarchive, _libarchive_indented]


@pytest.mark.parametrize("write", [*WRITERS, _dumped])
def test_a_specification_lists_every_name_kind_size_and_time(tree: Path, write: Callable[[Path], bytes]) -> None:
    (tree / "link").symlink_to("to a\tplace\\")
    os.mkfifo(tree / "pipe")
    os.utime(tree / "plain", ns=(0, 5_000_000_001))  # NetBSD writes 5.1
    os.utime(tree / "-rf", ns=(0, -3_250_000_000))
    os.link(tree / "plain", tree / "plain too")

    columns = parse_mtree(write(tree)).columns

    read = list(zip(columns.paths, columns.kinds, columns.sizes, columns.mtimes, columns.targets, strict=True))
    seen = []
    for place in tree.rglob("*"):
        kind = "l" if place.is_symlink() else "d" if place.is_dir() else "o" if place.is_fifo() else "f"
        size = place.lstat().st_size if kind in "fl" else 0
        target = os.fsencode(place.readlink()) if kind == "l" else None
        seen.append((bytes(place.relative_to(tree)), ord(kind), size, place.lstat().st_mtime_ns, target))
    assert sorted(read) == sorted(seen)


@pytest.mark.parametrize("write", WRITERS)
def test_a_specification_finds_what_mtree_finds(tree: Path, tmp_path: Path, write: Callable[[Path], bytes]) -> None:
    text, netbsd = write(tree), _netbsd(tree)
    assert differences(parse_mtree(text), tree, tmp_path) == {}
    spoil(tree)

    said = run("mtree", "-p", tree, cwd=tree, input=netbsd)

    assert differences(parse_mtree(text), tree, tmp_path) == SPOILT
    assert said.returncode == 2
    assert set(re.findall(rb"^(?:extra: )(.+)$", said.stdout, re.MULTILINE)) == {b"d/added"}
    assert b"back\\slash" in said.stdout or b"back\\\\slash" in said.stdout
    assert len(re.findall(rb"^missing: |\(missing\)$| missing$", said.stdout, re.MULTILINE)) == 1


def test_every_byte_that_a_name_can_hold_comes_back_from_mtree_and_bsdtar(tmp_path: Path) -> None:
    root = tmp_path / "bytes"
    root.mkdir()
    for letter in set(range(1, 256)) - {ord("/")}:
        (root / os.fsdecode(b"x" + bytes([letter]) + b"y")).touch()
    seen = sorted(bytes(file.relative_to(root)) for file in root.iterdir())
    for write in WRITERS:  # not mtree -C: it takes one of these continued lines of mtree -c for two entries
        assert sorted(parse_mtree(write(root)).columns.paths) == seen


def test_what_may_be_absent_is_unknown_not_missing(tree: Path, tmp_path: Path) -> None:
    text = _libarchive(tree).replace(b"./plain ", b"./plain optional ")
    recorded = evidence(parse_mtree(text), tmp_path)
    assert isinstance(recorded, PartialManifest)

    work = Workspace(folder=tmp_path, memory=MEMORY, seed=SEED)
    matched = match(walked(tree, tmp_path, "sha256"), recorded, leave_out=(), work=work)

    assert matched.missing.files == matched.missing_blind.files == 1


def test_a_bag_finds_what_the_package_bagit_finds(tree: Path, tmp_path: Path) -> None:
    logging.getLogger("bagit").setLevel(logging.CRITICAL)
    for name in (b"\xff\xfe", b"cr\rname", b"trail ", b"per%0Acent"):  # which bagit cannot write, or reads otherwise
        (tree / os.fsdecode(name)).unlink()
    bagit.make_bag(str(tree), checksums=["sha256", "md5"])
    assert bagit.Bag(str(tree)).is_valid()
    assert differences(parse_bag(bag_files(tree)), tree / "data", tmp_path) == {}

    (tree / "data" / "plain").write_bytes(b"recording x")
    (tree / "data" / " lead").unlink()
    (tree / "data" / "d" / "added").write_bytes(b"new")

    found = differences(parse_bag(bag_files(tree)), tree / "data", tmp_path)
    with pytest.raises(bagit.BagValidationError) as said:
        bagit.Bag(str(tree)).validate(completeness_only=False)
    assert found == {b"plain": "changed", b" lead": "missing", b"d/added": "extra"}
    assert _bagit_says(tree) == found
    assert said.value


def _bagit_says(root: Path) -> dict[bytes, str]:
    bag = bagit.Bag(str(root))
    missing, extra = bag.compare_manifests_with_fs()
    found = dict.fromkeys(missing, "missing") | dict.fromkeys(extra, "extra")
    for path, digests in bag.payload_entries().items():
        file = root / path
        if file.is_file() and hashlib.sha256(file.read_bytes()).hexdigest() != digests["sha256"]:
            found[path] = "changed"
    return {os.fsencode(path).removeprefix(b"data/"): what for path, what in found.items()}


def test_a_bag_whose_manifest_was_cut_between_two_lines_is_no_evidence(tree: Path) -> None:
    (tree / os.fsdecode(b"\xff\xfe")).unlink()
    bagit.make_bag(str(tree), checksums=["sha256"])
    manifest = tree / "manifest-sha256.txt"
    manifest.write_bytes(b"".join(manifest.read_bytes().splitlines(keepends=True)[:-1]))
    with pytest.raises(OpenManifestError, match=r"manifest-sha256\.txt is not what it was"):
        parse_bag(bag_files(tree))


def test_a_bag_whose_list_of_what_is_to_be_fetched_is_a_link_is_no_evidence(tmp_path: Path) -> None:
    """Passed over, it would let pass for held what was never fetched (RFC 8493, 2.2.3)."""
    bag = tmp_path / "bag"
    bag.mkdir()
    (bag / "bagit.txt").write_bytes(b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    (bag / "manifest-md5.txt").write_bytes(b"d41d8cd98f00b204e9800998ecf8427e  data/a\n")
    (tmp_path / "elsewhere").write_bytes(b"https://example.org/a 0 data/a\n")
    (bag / "fetch.txt").symlink_to(tmp_path / "elsewhere")

    with pytest.raises(OpenManifestError, match=r"fetch\.txt"):
        bag_files(bag)


def test_wheels_are_as_their_records_say_or_as_sha256sum_finds_them() -> None:
    site = Path(bagit.__file__).parent
    lines = []
    for wheel in distributions(path=[str(site)]):
        for name, digest, _ in csv.reader((wheel.read_text("RECORD") or "").splitlines()):
            if digest.startswith("sha256=") and not name.startswith(("..", "/")):
                value = base64.urlsafe_b64decode(digest.removeprefix("sha256=") + "==")
                lines.append(f"{value.hex()}  {name}\n")
    text = "".join(sorted(set(lines))).encode()
    listed = parse_checksums(text)

    assert len(listed) > 1000
    assert _ours(listed, site) == coreutils_say(site, "sha256sum", text)


def test_packages_are_as_dpkg_says_or_as_md5sum_finds_them() -> None:
    files = sorted(Path("/var/lib/dpkg/info").glob("*.md5sums"))
    chosen = [file for file in files if 0 < file.stat().st_size < 60_000][::6]
    if not chosen:
        pytest.skip("no Debian here")
    for file in chosen:
        text = read_open_manifest(file)
        listed = parse_checksums(text)
        assert listed.digest == "md5"
        assert _ours(listed, Path("/")) == coreutils_say(Path("/"), "md5sum", text), file


def _ours(listed: ListedTree, root: Path) -> dict[bytes, str]:
    """Hold the rows against the disk by Python's own hashlib."""
    assert listed.digest is not None
    found = {}
    for path, digest in zip(listed.columns.paths, listed.columns.digests, strict=True):
        try:
            content = (root / os.fsdecode(path)).read_bytes()
        except OSError:
            found[path] = "missing"
            continue
        if hashlib.new(listed.digest, content, usedforsecurity=False).digest() != digest:
            found[path] = "changed"
    return found


def test_a_pipe_in_the_place_of_a_manifest_does_not_hang(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "manifest")
    with pytest.raises(OpenManifestError, match="no regular file"):
        read_open_manifest(tmp_path / "manifest")
