"""Progress as a small observer: who walks says where it is, who shows decides how."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Told now and then from the thread that works; must return quickly and never raise."""

    def __call__(self, subject: str, entries: int, /) -> None:
        """`subject` is an address or a device; `entries` how many were seen so far."""


def silent(_subject: str, _entries: int) -> None:
    """Show nothing."""
