"""Entries put into an estate's text."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml import YAML

from coverage_audit.estate.addresses import check_id
from coverage_audit.estate.drafting import Entry, id_of, quoted, with_entries
from tests.builders.estate_file import SMALL, read

DATASET = Entry(
    keys=("datasets",), lines=("# found", '"old-projects":', "  policy: plain", '  original: "kestrel:main/old"')
)


def test_an_entry_goes_where_its_kind_stands_and_all_else_stays_as_it_was(tmp_path: Path) -> None:
    drafted = with_entries(SMALL, [DATASET])
    estate = read(tmp_path, drafted)
    assert [dataset.id for dataset in estate.datasets] == ["old-projects", "survey-sheets"]
    whole = "".join(f"  {line}\n" for line in DATASET.lines)
    assert drafted.count(whole) == 1
    assert drafted.replace(whole, "") == SMALL


def test_an_entry_below_braces_has_no_room_and_becomes_a_comment(tmp_path: Path) -> None:
    braces = SMALL.split("datasets:")[0] + 'datasets: {one: {policy: plain, original: "kestrel:main/one"}}'
    drafted = with_entries(braces, [DATASET])
    assert [dataset.id for dataset in read(tmp_path, drafted).datasets] == ["one"]
    assert '#   "old-projects":' in drafted


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_lines_are_counted_as_the_parser_counts_them(tmp_path: Path, ending: str) -> None:
    drafted = with_entries("# one\x85# two\u2028# three\n" + SMALL.replace("\n", ending), [DATASET])
    (tmp_path / "estate.yaml").write_bytes(drafted.encode())
    assert len(read(tmp_path, drafted).datasets) == 2


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_quoted_text_comes_out_of_a_yaml_parser_as_it_went_in(text: str) -> None:
    assert YAML(typ="safe", pure=True).load(quoted(text)) == text


@given(st.text(), st.lists(st.text(), max_size=3))
def test_an_id_made_of_any_name_is_an_id_and_not_taken(text: str, others: list[str]) -> None:
    taken = {id_of(other, ()) for other in others}
    found = id_of(text, taken)
    assert check_id(found) not in taken
