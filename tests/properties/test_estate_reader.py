"""Whatever stands in the file: an estate, or the list of its mistakes, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from coverage_audit.errors import EstateError
from coverage_audit.estate.document import read_tree
from coverage_audit.estate.mistakes import Mistakes
from coverage_audit.estate.model import Estate
from coverage_audit.estate.nodes import plain
from coverage_audit.estate.reader import read_estate
from coverage_audit.estate.shipped import sample_folder
from tests.builders.estate_file import SMALL

Reading = Callable[[bytes], Estate | str]

SAMPLE = (sample_folder() / "estate.yaml").read_bytes()
LINE = re.compile(r".*estate\.yaml:(?:[0-9]+:[0-9]+:)? .+\(.+\)", re.DOTALL)

PIECES = [
    *(b": ", b"- ", b"{", b"}", b"[", b"]", b"? ", b"#", b'"', b"'", b"\t", b"\n", b"@", b"|\n", b">-\n", b"|9", b"~"),
    *(b"&a ", b"*a", b"<<", b"!t ", b"!!binary ", b"!<", b"\n---\n", b"\n...\n", b"%YAML 1.1\n", b"%TAG ! x\n"),
    *(b"\\x00", b'"\\uD800"', b"\xff", b"\xe2\x80\xa8", b"\xef\xbb\xbf", b"\x1b[2J", b"1e999", b"0", b"null"),
    *(b"[[[[", b"{point}", b"kestrel:main"),
]

MUTATION = st.tuples(st.integers(0, 20_000), st.integers(0, 40), st.sampled_from(PIECES) | st.binary(max_size=4))


@pytest.fixture(scope="module")
def reading(tmp_path_factory: pytest.TempPathFactory) -> Reading:
    file = tmp_path_factory.mktemp("mutated") / "estate.yaml"

    def read(data: bytes) -> Estate | str:
        file.write_bytes(data)
        try:
            return read_estate(file)
        except EstateError as error:
            return str(error)

    return read


def check(found: Estate | str) -> None:
    """An estate that every other room can use, or mistakes that each name a place and a mend."""
    if isinstance(found, Estate):
        for dataset in found.datasets:
            assert found.policy(dataset.policy).copies >= 1
            for address in (dataset.original, *(copy.address for copy in dataset.copies)):
                assert found.volume(address.volume).key == address.volume
                assert ".." not in address.path.split("/")
                assert not address.path.startswith("/")
        found.text.encode("utf-8")
        return
    found.encode("utf-8")
    for line in found.split("\n"):
        assert LINE.fullmatch(line), line
        assert line.isprintable()


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=200) | st.text("ab:{}[]-?!&*|>%@`'\"#\n \t,x0~<", max_size=80).map(str.encode))
@example(b"a: &x [*x]")
@example(b"? - a\n: - b\n")
@example(b"!!set {a, b}")
def test_no_bytes_end_otherwise_than_in_an_estate_or_its_mistakes(reading: Reading, data: bytes) -> None:
    check(reading(data))


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(MUTATION, min_size=1, max_size=6))
def test_no_change_to_the_sample_ends_otherwise_than_in_an_estate_or_its_mistakes(
    reading: Reading, changes: list[tuple[int, int, bytes]]
) -> None:
    data = bytearray(SAMPLE)
    for at, length, piece in changes:
        place = at % (len(data) + 1)
        data[place : place + length] = piece
    check(reading(bytes(data)))


@settings(max_examples=100, deadline=None)
@given(st.lists(st.sampled_from(SMALL.splitlines()), min_size=5, max_size=40))
def test_lines_in_any_order_end_in_an_estate_or_its_mistakes(reading: Reading, lines: list[str]) -> None:
    check(reading("\n".join(lines).encode()))


@settings(max_examples=200, deadline=None)
@given(
    st.recursive(
        st.none() | st.booleans() | st.integers(-1000, 1000) | st.text("ab:-#'\"{}[] \n1.", max_size=8),
        lambda inner: (
            st.lists(inner, max_size=3) | st.dictionaries(st.text("abc", min_size=1, max_size=3), inner, max_size=3)
        ),
        max_leaves=12,
    )
)
def test_a_tree_that_is_taken_says_what_another_reader_says(value: object) -> None:
    """The outside: ruamel.yaml's safe writer and loader; what is refused here may say anything there."""
    text = StringIO()
    YAML(typ="safe", pure=True).dump({"top": value}, text)
    mistakes = Mistakes()
    tree = read_tree(text.getvalue(), mistakes)
    if tree is not None and not mistakes:
        assert plain(tree) == YAML(typ="safe", pure=True).load(text.getvalue())


@settings(max_examples=200, deadline=None)
@given(st.text("ab:{}[]-?|>'\"#\n ,x0~", max_size=40))
def test_text_that_another_reader_refuses_is_never_taken(text: str) -> None:
    mistakes = Mistakes()
    tree = read_tree(text, mistakes)
    if tree is None or mistakes:
        return
    try:
        expected = YAML(typ="safe", pure=True).load(text)
    except YAMLError as error:
        raise AssertionError(f"taken here, refused there: {text!r}") from error
    assert {str(key): value for key, value in expected.items()} == plain(tree) or any(
        not isinstance(key, str) for key in expected
    )


@pytest.mark.parametrize("line", range(len(SMALL.splitlines())))
def test_an_estate_without_one_of_its_lines_is_another_one_or_wrong(reading: Reading, line: int) -> None:
    lines = SMALL.splitlines()
    found = reading("\n".join(lines[:line] + lines[line + 1 :]).encode())
    check(found)
    if isinstance(found, Estate):
        assert lines[line].strip() in {"barn: {}", "- at: heron:pool/sheets"}, Path(lines[line])
