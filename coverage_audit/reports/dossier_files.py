"""The list of the files that no staying place is shown to hold, as CSV (RFC 4180) that a spreadsheet opens harmlessly.

Each line begins with the file's address, which begins with a device's id: no cell can be taken for a formula. A name
that does not show itself exactly stands as hexadecimal bytes in a column of its own.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable

from coverage_audit.evidence.elsewhere import LoneFile
from coverage_audit.evidence.visible import visible

COLUMNS = ("file", "bytes", "dataset", "left out", "how", "why", "exact path")


def files_csv(lone: Iterable[LoneFile]) -> str:
    """Write the list, the heading first."""
    out = io.StringIO()
    lines = csv.writer(out, lineterminator="\r\n")
    lines.writerow(COLUMNS)
    for one in lone:
        text = os.fsdecode(one.path)
        lines.writerow(
            (
                visible(f"{one.volume}/{text}"),
                one.size,
                one.dataset or "",
                "yes" if one.left_out else "",
                one.held.value,
                one.why,
                f"hex:{one.path.hex()}" if visible(text) != text else "",
            )
        )
    return out.getvalue()
