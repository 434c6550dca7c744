"""The frame of a short reply."""

from __future__ import annotations

import pytest

from coverage_audit.collectors.framing import fields, pairs
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind
from tests.builders.shell_reply import NONCE, answered, framed_reply

WHOLE = framed_reply(("one", b"1"), ("two", b""))


def kind_of(reply: bytes, status: int | None) -> GapKind:
    with pytest.raises(TransportError) as refused:
        tuple(pairs(fields(reply, status, NONCE)))
    return refused.value.kind


def test_noise_before_the_answer_does_no_harm() -> None:
    reply, status = answered(Request(verb="tools", nonce=NONCE), before=b"Welcome to heron\r\n\0B 1 sent\0")
    assert dict(pairs(fields(reply, status, NONCE)))["walk"] == b"gnu"
    assert list(pairs(fields(b"motd\n" + WHOLE, 0, NONCE))) == [("one", b"1"), ("two", b"")]


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


def refused(reason: bytes, nonce: str = NONCE, before: bytes = b"") -> bytes:
    who = nonce.encode()
    return b"B %s installed\0%sR %s %s\0E %s 77\0" % (who, before, who, reason, who)


@pytest.mark.parametrize(
    "reply", [refused(b"no root"), refused(b"no root", before=b"half an answer\0"), refused(b"no root", "-")]
)
def test_a_refusal_is_said_with_its_reason(reply: bytes) -> None:
    with pytest.raises(TransportError, match="no root") as caught:
        fields(b"motd\n" + reply, 77, NONCE)
    assert caught.value.kind is GapKind.REFUSED


@pytest.mark.parametrize("reply", [refused(b"no root"), refused(b"no root", "f" * 32), refused(b"no root") + b"more"])
def test_what_only_resembles_a_refusal_is_none_and_no_answer_either(reply: bytes) -> None:
    assert kind_of(reply, 0) in {GapKind.MALFORMED, GapKind.NO_SHELL}
    if not reply.startswith(b"B " + NONCE.encode()) or reply.endswith(b"more"):
        assert kind_of(reply, 77) in {GapKind.MALFORMED, GapKind.NO_SHELL}
