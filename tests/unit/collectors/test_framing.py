"""The frame of a short reply."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.collectors.framing import fields, framed, pairs, quoted
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind
from tests.builders.shell_reply import NONCE, answered, framed_reply

WHOLE = framed_reply(("one", b"1"), ("two", b""))


def kind_of(reply: bytes, status: int | None) -> GapKind:
    with pytest.raises(TransportError) as refused:
        tuple(pairs(fields(reply, status, NONCE)))
    return refused.value.kind


def test_noise_before_the_answer_does_no_harm() -> None:
    reply, status = answered(framed(b"say one 1; say two ''", NONCE), before=b"Welcome to heron\r\n\0B 1\0")
    assert list(pairs(fields(reply, status, NONCE))) == [("one", b"1"), ("two", b"")]


@pytest.mark.parametrize("length", range(len(WHOLE)))
def test_an_answer_that_is_cut_anywhere_is_no_answer(length: int) -> None:
    assert kind_of(WHOLE[:length], None) is GapKind.CUT
    assert kind_of(WHOLE[:length], 0) in {GapKind.NO_SHELL, GapKind.MALFORMED}


def test_an_account_without_a_shell_is_said_to_have_none() -> None:
    assert kind_of(b"This account is currently not available.\n", 1) is GapKind.NO_SHELL
    assert kind_of(b"", 127) is GapKind.NO_SHELL


@pytest.mark.parametrize(
    "reply",
    [
        WHOLE + b"logout",
        WHOLE.replace(b"E 0123", b"E 9123"),
        framed_reply(("one", b"1"), ("two", b"2")).replace(b"\x00two\x002", b"\x00two"),
    ],
    ids=["noise after the end", "another question's end", "a name without a value"],
)
def test_an_answer_of_another_shape_is_malformed(reply: bytes) -> None:
    assert kind_of(reply, 0) is GapKind.MALFORMED


def test_a_whole_answer_with_a_failed_status_is_malformed() -> None:
    assert kind_of(WHOLE, 1) is GapKind.MALFORMED


@given(st.binary(max_size=60).filter(lambda word: b"\0" not in word))
def test_any_bytes_pass_a_shell_as_one_word(word: bytes) -> None:
    reply, status = answered(framed(b'set -- %s; say "$#" "$1"' % quoted(word), NONCE))
    assert list(pairs(fields(reply, status, NONCE))) == [("1", word)]
