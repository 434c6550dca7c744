"""Own state: the auditor's own ledger, estate file and keys belong to a dataset.

What it asks: that each of them lies in the original of a dataset and is not left out of it; the other rules then judge
that dataset. Of the ledger this means its state folder: the seed, the manifests, the rows that differ, the database. A
copy of the database made by its own means, into the folder `dump` beside it, counts in the database's stead, and is
asked for where a server keeps the ledger; it may be as old as the dataset's `max_age`. In a rehearsal it is observed.

Why: the ledger alone knows what was there before, which volumes are the right ones and since when something fails. A
machine that is lost with it starts from nothing, and trusts what it meets.

How to mend: declare the machine that runs the auditor (`access: local`), and a dataset whose original holds the place.
A database that is written to while it is copied may be torn: before the copy runs, let
`sqlite3 STATE/ledger.db ".backup STATE/dump/ledger.db"` (of a server: `pg_dump --file STATE/dump/ledger.sql`) make one
that is whole, and leave out the live one (`/ledger.db*`); or copy a snapshot. The state folder changes nightly: leave
out `/staging/`, and some of the rest being pending is as it should be. A key that may only run the gate opens
nothing else; where you would rather make new ones, waive the finding on the keys.

The control: NIST SP 800-53 Rev. 5 CP-9 b-c (system-level information and documentation are backed up).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from coverage_audit.comparison.own_places import Placed, placed
from coverage_audit.estate.model import Estate
from coverage_audit.evidence.own import OwnPart, OwnPlaces
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.context import EstateContext
from coverage_audit.judgement.own_draft import draft
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding
from coverage_audit.judgement.wording import age, duration, joined

RULE = Rule(
    id="own-state",
    title="The auditor's own state",
    control=supports("NIST SP 800-53 Rev. 5 CP-9"),
    doc=__doc__ or "",
)


_REHEARSED: Final = "A rehearsal can leave it at that; in earnest they belong to a dataset (explain says how)."


@dataclass(frozen=True, kw_only=True)
class _Trouble:
    """What keeps some of a part from being covered."""

    said: str
    place: Placed


def check(context: EstateContext) -> Iterable[Finding]:
    """Answer for the ledger, the estate file and the keys, as far as there are any; in a rehearsal for all at once."""
    if context.own is not None and context.whole:
        yield from answers(context.estate, context.own, context.finished)


def answers(estate: Estate, own: OwnPlaces, now: datetime) -> Iterable[Finding]:
    """Answer for these places at this moment: all of it is known before anything is audited."""
    parts = dict.fromkeys([OwnPart.LEDGER, *(place.part for place in own.places)])
    troubles = {part: _troubles(part, own, estate, now) for part in parts}
    found = [trouble for several in troubles.values() for trouble in several]
    if estate.rehearsal and found:
        yield _finding("auditor", found, Answer.OBSERVATION, estate, now)
        return
    for part, several in troubles.items():
        yield _finding(part, several, Answer.NONCONFORMITY if several else Answer.CONFORMITY, estate, now)


def _troubles(part: OwnPart, own: OwnPlaces, estate: Estate, now: datetime) -> list[_Trouble]:
    places = [placed(estate, place) for place in own.places if place.part is part]
    beside: list[_Trouble] = []
    if part is OwnPart.LEDGER:
        dump = placed(estate, own.dump)
        itself = placed(estate, own.database) if own.database is not None else None
        if itself is not None and itself.dataset is None and own.dumped is None:
            places.append(itself)
        elif itself is None or not itself.is_covered:
            beside = _of_database(itself, dump, own.dumped, estate, now)
    return [*_uncovered([place for place in places if not place.is_covered]), *beside]


def _uncovered(places: Sequence[Placed]) -> Iterable[_Trouble]:
    """Name each place, and of several that lie together in no dataset the folder alone."""
    together = Counter(place.folder for place in places if place.dataset is None)
    for place in places:
        several = place.dataset is None and together[place.folder] > 1
        if several and place.folder in {other.folder for other in places[: places.index(place)]}:
            continue
        path = place.folder if several else place.place.path
        yield _Trouble(said=f"“{visible(path)}” {_why(place)}", place=place)


def _why(found: Placed) -> str:
    if found.volume is None:
        return "lies on no declared volume of this machine"
    if found.dataset is None:
        return f"lies on {found.volume.key}, outside every original"
    return f"is left out of {found.dataset.id} by the pattern “{visible(found.left_out_by or '')}”"


def _of_database(
    itself: Placed | None, dump: Placed, dumped: datetime | None, estate: Estate, now: datetime
) -> list[_Trouble]:
    """Ask for a copy of the database that is covered, and no older than its dataset's policy asks."""
    where = f"“{visible(dump.place.path)}”"
    before = "a server keeps the database"
    if itself is not None:
        before = f"“{visible(itself.place.path)}” {_why(itself)}"
    if dumped is None:
        return [_Trouble(said=f"{before}, and no copy of it lies in {where}", place=dump)]
    if dump.dataset is None or not dump.is_covered:
        return [_Trouble(said=f"{before}, and {where}, the folder of its copies, {_why(dump)}", place=dump)]
    asked = estate.policy(dump.dataset.policy).max_age
    if dumped - now <= estate.limits.clock_tolerance and now - dumped <= asked:
        return []
    made = f"its copy in {where} was made {age(dumped, now)}; {duration(asked)} is asked"
    return [_Trouble(said=f"{before}, and {made}", place=dump)]


def _finding(subject: str, troubles: Sequence[_Trouble], answer: Answer, estate: Estate, now: datetime) -> Finding:
    said = "; ".join(trouble.said for trouble in troubles)
    measured = f"{len(troubles)} not covered" if troubles else "all of it in a dataset"
    message = f"The auditor's own {subject} belongs to a dataset."
    if troubles:
        named = joined(dict.fromkeys(f"its own {trouble.place.place.part}" for trouble in troubles))
        message = f"The auditor could lose {named}: {said}."
    return Finding(
        rule=RULE.id,
        subject=subject,
        answer=answer,
        measured=measured,
        required="all of it in the original of a dataset, not left out",
        message=message,
        mend=_REHEARSED if troubles and estate.rehearsal else _mend(troubles, estate),
        evidence=(
            EvidenceItem(
                what=said or measured,
                where="the auditor's machine",
                at=now,
                how="its own places held against what is declared",
            ),
        ),
        control=RULE.control,
        degree=float(len(troubles)),
    )


def _mend(troubles: Sequence[_Trouble], estate: Estate) -> str:
    """Give the lines for each folder that no dataset holds; what a pattern leaves out, the owner takes back in."""
    bare = {trouble.place.folder: trouble.place for trouble in troubles if trouble.place.dataset is None}
    said = [draft(estate, place) for place in bare.values()]
    if any(trouble.place.dataset is not None for trouble in troubles):
        said.append(
            "Take back in what a pattern leaves out (`!`), or make a fresh copy of the database (explain says how)."
        )
    return " ".join(said) or "Nothing is to be done."
