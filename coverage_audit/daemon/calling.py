"""The process that makes one call. It speaks HTTP through requests, lets nothing out but a reason, and ends."""

from __future__ import annotations

import os
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Final
from urllib.parse import urlsplit

from coverage_audit.notices.delivery.lifeline import end_without_reader
from coverage_audit.notices.delivery.naming import HEADER
from coverage_audit.notices.delivery.silence import be_silent

_HEADERS: Final = {"Content-Type": "application/json", "User-Agent": "coverage-audit"}


@dataclass(frozen=True, kw_only=True)
class Errand:
    """What is to be sent, where to, under which name, and within how many seconds."""

    url: str
    body: bytes
    event: str
    wait_s: float


def call_and_report(to: Connection, errand: Errand) -> None:
    """Run in the child; send why the call was not taken (None: it was). What is raised may hold the address."""
    be_silent()
    end_without_reader(to)
    try:
        reason = _call(errand)
    except Exception as error:  # noqa: BLE001 - any text may hold the address: only its kind is told
        reason = f"the call failed ({type(error).__name__})"
    to.send(reason)
    to.close()


def _call(errand: Errand) -> str | None:
    """POST the body; only an answer of 2xx (RFC 9110 section 15.3) to this very POST is a yes."""
    import requests  # noqa: PLC0415 - slow to import, and only needed in the child

    if urlsplit(errand.url).scheme.lower() not in {"http", "https"}:
        return "its address begins neither with https:// nor with http://"
    try:
        # The answer's body is not read: it may never end.
        headers = {**_HEADERS, HEADER: errand.event}
        with requests.post(errand.url, data=errand.body, headers=headers, timeout=errand.wait_s, stream=True) as answer:
            return _why_no_yes(answer.status_code, answer.request.method)
    except requests.exceptions.RequestException as error:
        words = (_WORDS.get(kind.__name__) for kind in type(error).__mro__)
        said = next((found for found in words if found is not None), None)
        return _why_not_connected(error) if said is None else said.format(wait_s=errand.wait_s)


_WORDS: Final = {
    "SSLError": "its certificate cannot be trusted, or it speaks no TLS that can be",
    "Timeout": "no answer within {wait_s:g} s",
    "TooManyRedirects": "it leads from one address to the next without end",
    "InvalidURL": "its address is none that can be used",
}
"""What to say of the library's exceptions, by their names; its own texts repeat the address."""


def _why_no_yes(status: int, method: str | None) -> str | None:
    if not 200 <= status < 300:
        return f"it answered {status}"
    if method != "POST":
        # RFC 9110 section 15.4.2: after 301 and 302 a POST may become a GET, which carries no message.
        return "it leads elsewhere, and the message gets lost on the way: give the address that it leads to"
    return None


def _why_not_connected(error: BaseException) -> str:
    """Say why there was no connection, by the system's own error if one lies at the ground of it."""
    ground: object = error
    for _ in range(_DEEPEST):
        if not isinstance(ground, BaseException):
            break
        if type(ground).__name__ == "NameResolutionError":
            return "no connection: its host's name is not known here"
        if isinstance(ground, OSError) and ground.errno is not None:
            return f"no connection: {os.strerror(ground.errno)}"
        ground = getattr(ground, "reason", None) or ground.__cause__ or (ground.args[-1] if ground.args else None)
    return "no connection, or it was cut before an answer came"


_DEEPEST: Final = 10
"""How far down a chain of causes is followed."""
