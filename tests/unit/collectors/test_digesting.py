"""A tree that is recorded with the digests of its files, on boxes of every kind."""

from __future__ import annotations

import hashlib
import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coverage_audit.collectors.gather import gather
from coverage_audit.estate.access import Access, LocalAccess
from coverage_audit.evidence.collected import SeenTree
from coverage_audit.evidence.manifest import CompleteManifest
from coverage_audit.evidence.store import rows
from tests.builders.limits import some_limits
from tests.builders.questions import a_device, a_question
from tests.parts.sftp_only import StartSftpOnly
from tests.parts.sshd import Box

NOW = datetime(2026, 11, 27, 4, 10, tzinfo=UTC)
CONTENT = {b"2025/\xff take.wav": b"field notes", b"empty": b"", b"large": bytes(range(256)) * 3000}


@pytest.fixture
def root(tmp_path: Path) -> Path:
    for name, content in CONTENT.items():
        file = Path(os.fsdecode(os.fsencode(tmp_path) + b"/main/" + name))
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    (tmp_path / "main" / "link").symlink_to("large")
    return tmp_path / "main"


def seen(root: Path, staging: Path, access: Access) -> SeenTree:
    staging.mkdir()
    question = replace(a_question(a_device("kestrel", {"main": root}, access), ["kestrel:main"]), digest="sha256")
    [answer] = gather(
        [question],
        limits=some_limits(),
        staging=staging,
        seed=b"0123456789abcdef",
        clock=lambda: NOW,
        progress=lambda _subject, _entries: None,
    )
    [tree] = answer.trees
    return tree


@pytest.mark.parametrize("kind", ["local", "ssh", "sftp"])
def test_every_regular_file_is_recorded_with_the_digest_of_its_content(
    request: pytest.FixtureRequest, root: Path, tmp_path: Path, kind: str
) -> None:
    access: Access = LocalAccess()
    if kind == "ssh":
        box: Box = request.getfixturevalue("box")
        access = box.access
    if kind == "sftp":
        start: StartSftpOnly = request.getfixturevalue("start_sftp_only")
        access = start().access

    tree = seen(root, tmp_path / "staging", access)

    assert isinstance(tree.outcome, CompleteManifest), tree.outcome
    assert tree.undigested == ()
    assert tree.outcome.origin.digest == "sha256"
    recorded = {row.path: row.digest for row in rows(tree.outcome.file) if row.digest is not None}
    assert recorded == {name: hashlib.sha256(content).digest() for name, content in CONTENT.items()}
