"""Subjects of findings can be typed into a shell: checked against what `sh` itself makes of them."""

from __future__ import annotations

import subprocess

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.estate.model import DatasetId, DeviceId
from coverage_audit.judgement.subjects import (
    criterion_subject,
    dataset_subject,
    device_subject,
    place_subject,
    volume_subject,
)
from tests.builders.station import a_key, an_address

HOSTILE = st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1, max_size=30)


@settings(max_examples=60, deadline=None)
@given(HOSTILE, HOSTILE)
def test_a_shell_reads_a_finding_id_as_one_plain_word(name: str, path: str) -> None:
    address = an_address("heron:pool/x")
    address = address.__class__(volume=address.volume, path=path)
    words = [f"age:{place_subject(DatasetId(name), address)}", f"clocks:{device_subject(DeviceId(name))}"]

    for word in words:
        seen = subprocess.run(["sh", "-c", f"printf '%s|' {word}"], capture_output=True, check=True)
        assert seen.stdout == f"{word}|".encode()


def test_subjects_read_like_the_names_in_the_estate() -> None:
    dataset = DatasetId("field-recordings")

    assert dataset_subject(dataset) == "field-recordings"
    assert criterion_subject(dataset, "keep") == "field-recordings/keep"
    assert place_subject(dataset, an_address("heron:pool/mirror/a b")) == "field-recordings@heron:pool/mirror/a%20b"
    assert place_subject(dataset, an_address("heron:pool/{point}")) == "field-recordings@heron:pool/%7Bpoint%7D"
    assert volume_subject(a_key("heron:pool")) == "heron:pool"


@given(HOSTILE, HOSTILE)
def test_two_names_never_share_a_subject(first: str, second: str) -> None:
    same = dataset_subject(DatasetId(first)) == dataset_subject(DatasetId(second))

    assert same == (first == second)
