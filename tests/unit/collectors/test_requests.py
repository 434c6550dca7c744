"""A request: one line of plain words."""

from __future__ import annotations

import shlex

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.collectors.requests import LONGEST, Request, batches
from coverage_audit.errors import CollectionError
from tests.builders.shell_reply import NONCE


@given(st.lists(st.binary(max_size=50).filter(lambda argument: b"\0" not in argument), max_size=9))
def test_a_line_is_plain_words_that_bear_the_arguments(arguments: list[bytes]) -> None:
    line = Request(verb="look", arguments=tuple(arguments), nonce=NONCE).line.decode("ascii")
    assert set(line) <= set("0123456789abcdefghijklmnopqrstuvwxyz -")
    start, told = line.split(" ")[:7], shlex.split(line)[7:]
    assert start == ["exec", "sh", "-s", "--", "1", NONCE, "look"]
    assert [bytes.fromhex(word.replace("-", "")) for word in told] == arguments


@pytest.mark.parametrize(
    ("verb", "argument", "nonce"),
    [("look;", b"", NONCE), ("look", b"a\0b", NONCE), ("look", b"", "x" * 32), ("", b"", NONCE)],
)
def test_what_is_no_request_cannot_be_made(verb: str, argument: bytes, nonce: str) -> None:
    with pytest.raises(CollectionError):
        Request(verb=verb, arguments=(argument,), nonce=nonce)


@given(st.lists(st.binary(min_size=1, max_size=4096).filter(lambda argument: b"\0" not in argument), max_size=60))
def test_batches_keep_order_and_fit_one_line_each(many: list[bytes]) -> None:
    cut = batches((b"/srv/main",), tuple(many))
    assert [argument for batch in cut for argument in batch] == many
    for batch in cut:
        assert batch
        assert len(Request(verb="look", arguments=(b"/srv/main", *batch), nonce=NONCE).line) <= LONGEST
