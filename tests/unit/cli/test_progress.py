"""Progress shows on a terminal and nowhere else."""

from __future__ import annotations

import io

from coverage_audit.cli.progress import walking
from coverage_audit.evidence.progress import silent


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_terminal_shows_how_far_each_tree_is() -> None:
    screen = Terminal()

    with walking(screen) as progress:
        progress("kestrel:main/recordings", 1000)
        progress("heron:pool/[red]\x1b[2J", 2000)
        progress("kestrel:main/recordings", 3000)

    shown = screen.getvalue()
    assert "kestrel:main/recordings: 3,000 entries" in shown
    assert "heron:pool/[red]" in shown, "names are no markup"
    assert "\x1b[2J" not in shown, "and no escapes"


def test_what_is_no_terminal_shows_nothing() -> None:
    file = io.StringIO()

    with walking(file) as progress:
        assert progress is silent
        progress("kestrel:main/recordings", 1000)

    assert file.getvalue() == ""
