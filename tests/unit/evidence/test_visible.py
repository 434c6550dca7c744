from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.evidence.visible import visible


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        (b"survey sheet.csv", "survey sheet.csv"),
        ("Köln, été".encode(), "Köln, été"),
        (b"two\nlines", r"two\nlines"),
        (b"tab\tand\rreturn", r"tab\tand\rreturn"),
        (b"\x1b[31mred\x07", r"\x1b[31mred\x07"),
        (b"latin \xe9t\xe9", r"latin \xe9t\xe9"),
        ("latin \udce9", r"latin \xe9"),
        ("half \ud800", r"half \u{D800}"),
        ("turn \u202etxt.exe", r"turn \u{202E}txt.exe"),
        ("none\u200bwidth", r"none\u{200B}width"),
        ("line\u2028end\x85", r"line\u{2028}end\u{0085}"),
        (b"nul\x00", r"nul\x00"),
        (b"<script>$(reboot)", "<script>$(reboot)"),
        (b"", ""),
    ],
)
def test_a_hostile_name_is_shown_and_does_not_act(name: bytes | str, shown: str) -> None:
    assert visible(name) == shown


@given(st.binary())
def test_what_is_shown_prints_and_can_be_encoded(name: bytes) -> None:
    shown = visible(name)
    assert shown.isprintable()
    assert shown.encode("utf-8").decode("utf-8") == shown


@given(st.text(st.characters()) | st.binary())
def test_showing_twice_changes_nothing(name: str | bytes) -> None:
    assert visible(visible(name)) == visible(name)


@given(st.binary())
def test_bytes_and_their_file_system_text_look_alike(name: bytes) -> None:
    assert visible(name) == visible(name.decode("utf-8", "surrogateescape"))
