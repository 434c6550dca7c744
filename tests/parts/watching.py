"""What can be seen of secrets from outside: command lines and environments of processes while they run, and files."""

from __future__ import annotations

import base64
import contextlib
import html
import json
import secrets
import threading
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from urllib.parse import quote, quote_plus

import pytest

MARK: Final = "SEEN_BY_TEST"
"""Stands in the environment of all processes that are watched."""


def forms(secret: str) -> Iterator[tuple[str, bytes]]:
    """Give the ways in which a secret may be spelt: each with its name."""
    texts = {
        "plain": secret,
        "percent-encoded": quote(secret, safe=""),
        "percent-encoded for a path": quote(secret),
        "percent-encoded for a form": quote_plus(secret),
        "in JSON": json.dumps(secret)[1:-1],
        "in HTML": html.escape(secret),
        "as Python writes it": repr(secret)[1:-1],
    }
    for name, text in texts.items():
        yield name, text.encode()
        yield f"{name}, hexadecimal", text.encode().hex().encode()
        for how, spelt in _in_base64(text.encode()):
            yield f"{name}, {how}", spelt


def _in_base64(content: bytes) -> Iterator[tuple[str, bytes]]:
    """Give those letters that it becomes wherever it begins: three bytes are four letters (RFC 4648, section 4)."""
    for shift, begin in ((0, 0), (1, 2), (2, 3)):
        end = (shift + len(content)) * 8 // 6
        for name, encode in (("Base64", base64.b64encode), ("Base64 for addresses", base64.urlsafe_b64encode)):
            yield f"{name}, {shift} bytes further on", encode(b"\0" * shift + content)[begin:end]


def found(planted: Mapping[str, str], content: bytes) -> set[tuple[str, str]]:
    """Which secrets a content shows, and how each is spelt."""
    small = content.lower()
    return {(name, form) for name, secret in planted.items() for form, spelt in forms(secret) if spelt.lower() in small}


@dataclass(kw_only=True)
class Watcher:
    """Looks at all processes that bear its mark, again and again."""

    mark: str = field(default_factory=lambda: secrets.token_hex(8))
    commands: set[bytes] = field(default_factory=set)
    environments: dict[bytes, bytes] = field(default_factory=dict)
    """The environment last seen by command line."""
    _over: threading.Event = field(default_factory=threading.Event)

    @property
    def environment(self) -> dict[str, str]:
        """What a process needs in its environment to be seen."""
        return {MARK: self.mark}

    def watch(self) -> None:
        """Look until it is over."""
        mark, others = f"{MARK}={self.mark}".encode(), set[str]()
        while not self._over.wait(0.05):
            for process in Path("/proc").glob("[0-9]*"):
                if process.name in others:
                    continue
                with contextlib.suppress(OSError):
                    given = (process / "environ").read_bytes()
                    if mark not in given:
                        others.add(process.name)
                        continue
                    command = (process / "cmdline").read_bytes()
                    self.commands.add(command)
                    self.environments[command] = given

    def end(self) -> None:
        """Look no more."""
        self._over.set()

    def of(self, *words: bytes) -> Iterable[bytes]:
        """The environments of all processes whose command line has one of these words."""
        return [given for command, given in self.environments.items() if any(word in command for word in words)]


@pytest.fixture
def watcher(monkeypatch: pytest.MonkeyPatch) -> Iterator[Watcher]:
    """One that watches all that the test starts."""
    watching = Watcher()
    for name, value in watching.environment.items():
        monkeypatch.setenv(name, value)
    thread = threading.Thread(target=watching.watch)
    thread.start()
    yield watching
    watching.end()
    thread.join()
