"""What is run on the box, and the markers between the parts of its answer."""

from __future__ import annotations

import os
from typing import Final

from coverage_audit.collectors.framing import quoted
from coverage_audit.evidence.batches.printed import PRINTF
from coverage_audit.evidence.visible import visible

# The root is written `/root/./`: a dash or a link at its start does no harm, and what find says of a path can be told
# from the root's own name. Which folder the root is, and the mount table, are read before and after: what is mounted or
# put in its place in between is not missed.
# Leaving `find` to the shell (no exec) keeps its own status apart from that of the connection.
_SCRIPT: Final = rb"""LC_ALL=C; export LC_ALL
unset POSIXLY_CORRECT FIND_BLOCK_SIZE
root=%(root)s
around() {
  find -P "$root" -maxdepth 0 -printf '%%D:%%i' 2>/dev/null; printf '\0'
  cat /proc/self/mountinfo 2>/dev/null; printf '\0'
}
printf '%%s\0' %(begin)s
(cd -P -- "$root" 2>/dev/null && pwd -P); printf '\0'
around
printf '%%s\n' %(begin)s >&2
find -P "$root" -xdev -printf '%(format)s'
status=$?
printf '%%s\0' %(middle)s
around
printf '%%s %%d\0' %(end)s "$status"
exit "$status"
"""


class Markers:
    """The markers of one run; nobody who does not know the nonce can forge them."""

    def __init__(self, nonce: str) -> None:
        self.begin = f"B {nonce}".encode("ascii")
        self.middle = f"M {nonce}".encode("ascii")
        self.end = f"E {nonce}".encode("ascii")


def start_of(root: str) -> bytes:
    """Return the starting point that is given to find: the root with `/./` behind it."""
    return os.fsencode(root).rstrip(b"/") + b"/./"


def shown_root(start: bytes) -> str:
    """Return the root as messages show it."""
    return visible(start[:-3]) or "/"


def script(root: str, nonce: str) -> bytes:
    """Return POSIX sh text that lists the tree below an absolute `root`; `nonce` is new for each run."""
    markers = Markers(nonce)
    return _SCRIPT % {
        b"root": quoted(start_of(root)),
        b"begin": quoted(markers.begin),
        b"middle": quoted(markers.middle),
        b"end": quoted(markers.end),
        b"format": PRINTF,
    }
