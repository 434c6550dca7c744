"""The process of a night or a weekly page: `python -m coverage_audit.daemon.child_process FD`, started by the daemon.

One errand comes through standard input, one report goes out through the pipe FD, and the exit status is that of the
command line. Whatever happens here, the daemon outlives it.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from traceback import extract_tb
from typing import Final, NoReturn

from coverage_audit.collectors.sessions import end_with_parent
from coverage_audit.daemon.errands import Errand, NightErrand, PageErrand, Report, packed, unpacked
from coverage_audit.errors import EX_SOFTWARE, CoverageAuditError

_MOST_PLACES: Final = 6
"""How many of the innermost places of a defect are named."""


def main() -> NoReturn:
    """Take the errand, run it, report and end."""
    pipe = int(sys.argv[1])
    os.set_inheritable(pipe, False)  # noqa: FBT003 - the standard library's own order of arguments
    errand = _errand()
    end_with_parent()
    try:
        report, status = Report(said=run(errand)), 0
    except CoverageAuditError as error:
        report, status = Report(failed=str(error)), error.exit_status
    except Exception as error:  # noqa: BLE001 - the last door: the daemon tells what broke
        places = [f"{Path(frame.filename).stem}:{frame.lineno}" for frame in extract_tb(error.__traceback__)]
        where = " > ".join(places[-_MOST_PLACES:])
        failed = f"a defect of the program, {type(error).__name__}: {error}"[:2000]
        report, status = Report(failed=f"{failed} (at {where})"), EX_SOFTWARE
    os.write(pipe, packed(report))
    # At once: nothing that a device's worker left behind may hold the process at its end.
    os._exit(status)


def run(errand: Errand) -> str:
    """Do the errand; return in a few words what was done. Raises what the errand's own module says."""
    # What it takes is imported here, where a failure of that is reported as any other.
    match errand:
        case NightErrand():
            from coverage_audit.daemon.night import audit_night  # noqa: PLC0415 - as above

            return audit_night(errand)
        case PageErrand():
            from coverage_audit.daemon.page import make_page  # noqa: PLC0415 - as above

            return make_page(errand)


def _errand() -> Errand:
    piece = b""
    while more := os.read(0, 1 << 16):
        piece += more
        errand = unpacked(piece)
        if isinstance(errand, NightErrand | PageErrand):
            return errand
    sys.exit("no errand came")


if __name__ == "__main__":
    main()
