from __future__ import annotations

from pathlib import Path

import pytest
from ruamel.yaml import YAML

from coverage_audit.errors import EstateError
from coverage_audit.estate.document import LARGEST_FILE, read_tree, resolve
from coverage_audit.estate.mistakes import MOST_TOLD, Mistakes
from coverage_audit.estate.nodes import Spot, find, plain
from coverage_audit.estate.reader import read_estate
from tests.builders.estate_file import SMALL, mistakes, spoiled


def test_a_tree_says_the_same_as_another_reader_of_yaml_1_2() -> None:
    """The outside: ruamel.yaml's own safe loader."""
    mistakes = Mistakes()
    tree = read_tree(SMALL, mistakes)
    assert tree is not None
    assert not mistakes
    assert plain(tree) == YAML(typ="safe", pure=True).load(SMALL)


@pytest.mark.parametrize(
    "text",
    [
        "true",
        "False",
        "yes",
        "on",
        "NO",
        "12",
        "-3",
        "+4",
        "010",
        "3.5",
        ".5",
        "1e3",
        "12:30:00",
        "04:10",
        "x",
        "1.2.3",
        "~",
    ],
)
def test_an_unquoted_value_means_what_yaml_1_2_says(text: str) -> None:
    """The outside: ruamel.yaml's own resolver."""
    expected = YAML(typ="safe", pure=True).load(text)
    found = resolve(text)
    assert found == expected
    assert type(found) is type(expected)


def test_every_key_and_value_knows_its_line_and_column() -> None:
    tree = read_tree("a:\n  - b: 1\n    c: {d: x}\n", Mistakes())
    assert tree is not None
    found = find(tree, ("a", 0, "c", "d"))
    assert (found.key_spot, found.node.spot) == (Spot(3, 9), Spot(3, 12))


WRONG = [
    ("Dublin\n", "Dublin\nestate: x\n", "3:1: 'estate' is given twice (first in line 1: keep one)"),
    ("  barn: {}", "  barn: {name: a, name: b}", "5:19: 'name' is given twice (first in line 5: keep one)"),
    ("  barn: {}", "  barn: &here {}", "5:9: the anchor '&here' is not allowed (remove it)"),
    ("  barn: {}", "  barn: *here", "5:9: the alias '*here' is not allowed (write the value out)"),
    ("  barn: {}", "  barn: &a {<<: *a}", "5:17: the alias '*a' is not allowed (write the value out)"),
    ("  barn: {}", "  barn: &a [*a]", "5:13: the alias '*a' is not allowed (write the value out)"),
    (
        "estate: Salt",
        "estate: !!str Salt",
        "1:9: the tag 'tag:yaml.org,2002:str' is not allowed (write the value plainly)",
    ),
    (
        "estate: Salt",
        "estate: !!python/name:os.system Salt",
        "1:9: the tag 'tag:yaml.org,2002:python/name:os.system' is not allowed",
    ),
    ("  barn: {}", "  barn: {}\n  ? [a]\n  : {}", "6:5: a key must be plain text (write 'key: value')"),
    ("  barn: {}", "  barn: {}\n  ? {a: b}\n  : {}", "6:5: a key must be plain text (write 'key: value')"),
    (
        "estate: Salt",
        "%YAML 1.1\n---\nestate: Salt",
        "2:1: a directive (%...) is not allowed (remove the line that begins with %)",
    ),
    (
        "datasets:\n",
        "---\ndatasets:\n",
        "19:1: a second document begins (an estate is one: remove the '---' and what follows)",
    ),
    ("  barn: {}", "  barn: {", "7:10: this is no YAML: expected ',' or '}'"),
    ("  barn: {}", "\tbarn: {}", "5:1: this is no YAML:"),
    ("  barn: {}", '  barn: {name: "\\0"}', "5:16: the character U+0000 is not allowed in a value (remove it)"),
    ("  barn: {}", '  barn: {name: "\\uD800"}', "5:16: the character U+D800 is not allowed in a value (remove it)"),
    ("  barn: {}", "  barn: {name: \x1b[2J}", "5:16: the character U+001B is not allowed (remove it)"),
    ("  barn: {}", "  barn: {name: \x7f}", "5:16: the character U+007F is not allowed (remove it)"),
]


@pytest.mark.parametrize(("old", "new", "told"), WRONG)
def test_what_yaml_can_surprise_with_is_refused_at_its_place(tmp_path: Path, old: str, new: str, told: str) -> None:
    found = mistakes(tmp_path, spoiled(old, new))
    assert [line for line in found if line.startswith(told)], "\n".join(found)


def test_an_alias_hides_no_other_mistake(tmp_path: Path) -> None:
    text = spoiled("{name: Field station}", "&x {nam: Field station}").replace("barn: {}", "barn: *x")
    assert [line.split(":", 2)[2].strip()[:18] for line in mistakes(tmp_path, text)] == [
        "the anchor '&x' is",
        "unknown key 'nam' ",
        "the alias '*x' is ",
    ]


@pytest.mark.parametrize("text", ["", "# nothing\n", "\n\n", "---\n", "~", "\ufeff"])
def test_an_empty_file_is_no_estate(tmp_path: Path, text: str) -> None:
    (found,) = mistakes(tmp_path, text)
    assert "empty" in found


@pytest.mark.parametrize("text", ["[a, b]", "just words", "42", "- estate: x"])
def test_a_file_that_is_no_mapping_is_no_estate(tmp_path: Path, text: str) -> None:
    assert mistakes(tmp_path, text) == ["1:1: the file is no mapping (begin with 'estate: NAME')"]


@pytest.mark.parametrize("opening", ["[", "{a: ", "- ", "? ", "[{a: "])
def test_five_thousand_levels_of_nesting_are_refused_and_exhaust_nothing(tmp_path: Path, opening: str) -> None:
    found = mistakes(tmp_path, opening * 5000)
    assert any("nested more than 20 deep" in line for line in found)


def test_aliases_that_would_grow_to_a_billion_values_cost_nothing(tmp_path: Path) -> None:
    lines = ["a0: &a0 [x, x]"] + [f"a{n}: &a{n} [*a{n - 1}, *a{n - 1}]" for n in range(1, 31)]
    assert len(mistakes(tmp_path, "\n".join(lines))) > 60


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"estate: x\n  \xff", "2:3: byte 0xff is not UTF-8 (save the file as UTF-8)"),
        (b"\xef\xbb\xbfestate: \xe9", "1:9: byte 0xe9 is not UTF-8 (save the file as UTF-8)"),
        ("estate: x".encode("utf-16"), "1:1: byte 0xff is not UTF-8 (save the file as UTF-8)"),
        ("estate: x".encode("utf-16-le"), "1:2: the character U+0000 is not allowed (remove it)"),
        (b"estate: x\r\n\xc3\xa9: \xed\xa0\x80", "2:4: byte 0xed is not UTF-8 (save the file as UTF-8)"),
    ],
)
def test_a_file_that_is_not_utf_8_text_is_refused_at_the_byte(tmp_path: Path, data: bytes, told: str) -> None:
    file = tmp_path / "estate.yaml"
    file.write_bytes(data)
    with pytest.raises(EstateError) as caught:
        read_estate(file)
    assert str(caught.value) == f"{file}:{told}"


def test_a_byte_order_mark_and_the_line_ends_of_another_system_are_taken(tmp_path: Path) -> None:
    file = tmp_path / "estate.yaml"
    file.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert read_estate(file).name == "Saltreach Field Station"


def test_a_file_too_large_for_an_estate_is_not_read(tmp_path: Path) -> None:
    file = tmp_path / "estate.yaml"
    file.write_bytes(b"#" * (LARGEST_FILE + 1))
    with pytest.raises(EstateError, match="larger than 256 KiB"):
        read_estate(file)
    with pytest.raises(EstateError, match="larger than 256 KiB"):
        read_estate(Path("/dev/zero"))


def test_a_file_with_thousands_of_mistakes_says_how_many_are_left_out(tmp_path: Path) -> None:
    found = mistakes(tmp_path, "".join(f"k{n}: x\n" for n in range(MOST_TOLD + 10)))
    assert len(found) == MOST_TOLD + 1
    assert found[-1] == "and 16 more (is this the right file?)"
