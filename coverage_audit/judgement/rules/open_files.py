"""Open files: what programs keep open is copied while nobody writes it, or as a dump.

What it asks: nothing that could be broken by itself. It observes a copy that holds a database without the log that lies
beside it in the original; one of which all that it lacks, or has older, are files of kinds that programs keep open
(databases, mail stores, disks of virtual machines); and such files that were written while the original was listed.

Why: one tool skips what is open, and says so in a log that nobody reads; another copies it half written. Either way the
file that matters most is the one that cannot be opened on the day it is needed, though its name is there.

How to mend: let the program write a dump of its own beside it (or a snapshot of the whole volume) before the copy runs,
and declare the dumps as a copy with `points: files`: then their age and their size are judged too. Copy a database and
its log together, with the program stopped.

The control: NIST SP 800-53 Rev. 5 CP-9 (consistent copies of information that is in use).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from coverage_audit.evidence.difference import CopyComparison, Seen, Sight
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.observing import of_copy
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import Answer, Finding
from coverage_audit.judgement.wording import files

RULE = Rule(
    id="open-files",
    title="Files that programs keep open",
    control=supports("NIST SP 800-53 Rev. 5 CP-9"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Observe copies that look as if they were made of files in use."""
    for copy in context.copies:
        said = list(_said(copy.comparison)) if copy.comparison is not None else []
        if said:
            yield Finding(
                rule=RULE.id,
                subject=place_subject(context.dataset.id, copy.address),
                answer=Answer.OBSERVATION,
                measured="; ".join(said),
                required="no file that was open while it was copied",
                message=f"{copy.address}: {'; '.join(said)}.",
                mend="Have the program write a dump before the copy runs, and declare the dumps (`points: files`), so "
                "that their age is judged; copy a database together with its log, with the program stopped.",
                evidence=of_copy(copy),
                control=RULE.control,
            )


def _said(found: CopyComparison) -> Iterator[str]:
    seen = {each.sight: each for each in found.sights}
    log, lacking, written = (seen.get(each) for each in (Sight.WITHOUT_LOG, Sight.OPEN, Sight.WRITTEN_MEANWHILE))
    if log is not None:
        yield f"it holds {_such(log.beside)} without its log {_such(log.example)}{_more(log)}"
    if lacking is not None and _only(lacking, found):
        which = f"{files(lacking.entries)}, e.g. {_such(lacking.example)}"
        yield f"all that it lacks or has older are files that programs keep open ({which}): they may be skipped"
    if written is not None:
        yield f"{_such(written.example)} was written while the original was listed{_more(written)}: it is in use"


def _only(lacking: Seen, found: CopyComparison) -> bool:
    """Whether nothing else is lacking, and it is more than what the next run will take up."""
    whole = (found.missing + found.changed).files
    return 0 < whole <= lacking.entries and found.pending.files < whole


def _such(path: bytes) -> str:
    return f"“{visible(path)}”"


def _more(seen: Seen) -> str:
    return f" (and {files(seen.entries - 1)} more alike)" if seen.entries > 1 else ""
