"""What to do once something may leave, step by step, and how each medium is sanitised.

The program itself erases nothing. In our own words after NIST SP 800-88 Rev. 2 (2025), which leaves the techniques of
each medium to IEEE 2883; the cautions are common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from coverage_audit.estate.model import Medium
from coverage_audit.scenarios.retirement import Verdict


@dataclass(frozen=True, kw_only=True)
class Sanitising:
    """How one medium is sanitised: so that it may be used on within the house, given away, or never be used again."""

    medium: str
    clear: str
    purge: str
    destroy: str


_HDD: Final = Sanitising(
    medium="Hard disks",
    clear="Overwrite every block that can be addressed once, over the whole drive and not over files; read parts back.",
    purge=(
        "The drive's own sanitize command (overwrite or cryptographic erase); cryptographic erase only where "
        "everything on it was encrypted from its first day. It reaches hidden and remapped areas, which overwriting "
        "does not."
    ),
    destroy="Shred or melt the platters; a degausser strong enough for the drive makes it useless, too.",
)
_SSD: Final = Sanitising(
    medium="Solid-state drives, memory cards, phones",
    clear=(
        "Overwriting does not reach worn and spare cells: it is little more than deleting. Take the drive's own format "
        "or erase command."
    ),
    purge="The drive's own sanitize command: block erase, or cryptographic erase where all of it was encrypted.",
    destroy="Shred to pieces smaller than a memory chip, or burn. A degausser does nothing, a drilled hole not enough.",
)
_TAPE: Final = Sanitising(
    medium="Tapes",
    clear="Write over the whole length of the tape.",
    purge="Degauss it (the tape is useless afterwards), or destroy the key where all of it was encrypted.",
    destroy="Shred or burn.",
)
_OPTICAL: Final = Sanitising(
    medium="Optical discs",
    clear="There is no way that can be trusted.",
    purge="There is no way that can be trusted.",
    destroy="Shred, grind off the layer that holds the data, or burn.",
)
_HOSTED: Final = Sanitising(
    medium="Hosted storage",
    clear="Delete it, its snapshots, versions and trash, and wait for the time that the host keeps them.",
    purge="Destroy the key, where all of it was encrypted by you before it went there.",
    destroy="Not in your hands: ask for the host's written word, and close the account.",
)
_OF: Final = {Medium.HDD: _HDD, Medium.SSD: _SSD, Medium.TAPE: _TAPE, Medium.OPTICAL: _OPTICAL, Medium.HOSTED: _HOSTED}

CHOICE: Final = (
    (
        "Clear is enough where the medium stays in the house with the same people. Purge before it is given away, sold "
        "or sent back. Destroy what holds what must never be read, and what cannot be purged."
    ),
    (
        "A drive that failed takes no command: whatever it is made of, it can only be destroyed. The same holds of one "
        "whose erase command ends in an error."
    ),
    (
        "Drives in an array are sanitised one by one, not through the array. Check each afterwards, and write down its "
        "serial number, the method, the date and who did it."
    ),
)
CAUTIONS: Final = (
    (
        "What is erased cannot be brought back by anybody. Read the device's name and serial number aloud before you "
        "begin, and compare them with this page."
    ),
    (
        "Pull the mains plug before a box is opened, and wait: power supplies stay charged. A UPS gives mains voltage "
        "with its plug pulled; its batteries are heavy, and a short circuit burns."
    ),
    (
        "Lithium batteries that are swollen, dented or wet are neither pressed nor charged nor thrown away: they are "
        "put outside, away from what burns."
    ),
    "A rack or a full disk shelf is lifted by two; take out the drives first, the lowest units last.",
    (
        "Batteries and electronics are no household waste. What must be done with them, and what only a licensed "
        "electrician or a certified recycler may do, is local code: ask your municipality, and keep the receipt."
    ),
)


def methods(media: Iterable[Medium]) -> tuple[Sanitising, ...]:
    """Return how these media are sanitised, each once."""
    used = frozenset(media)
    return tuple(_OF[medium] for medium in Medium if medium in used)


def next_steps(verdict: Verdict, asked: Sequence[str], estate_file: str) -> tuple[str, ...]:
    """Return what to do next, in order. Where the verdict is not clear, that is to become clear first."""
    again = f"coverage-audit retire {' '.join(asked)} --hash all"
    first = (
        ()
        if verdict is Verdict.CLEAR
        else (
            "It is not clear that nothing is lost: take nothing apart. Copy what is only here, as said above.",
            f"Audit again until it is clear: {again}",
        )
    )
    return (
        *first,
        "Take it off the network, or switch it off, and leave it so for a while. What misses it will say so.",
        (
            f"Remove it from the estate ({estate_file or 'estate.yaml'}); where an original lay on it, write its new "
            "place and, under `moved_from`, the old one. Then: coverage-audit preflight, and coverage-audit audit."
        ),
        "Stop what copies to it and from it; take its mounts out of the other boxes.",
        (
            "Revoke its keys: the auditor's key on it, its own keys in the authorized_keys of others, its host key in "
            "known_hosts, tokens and accounts that it used. If it kept the key of anything encrypted, keep that "
            "elsewhere."
        ),
        (
            "Look at each of its drives for filesystems that are not mounted: they were not looked at. Then sanitise "
            "its media (below), each by its serial number."
        ),
        "Sign this page, and keep it with the receipt of whoever took the hardware.",
    )
