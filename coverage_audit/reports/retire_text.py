"""A retirement on the terminal: the verdict first, then what stands in the way and what to do, most at stake first."""

from __future__ import annotations

import os
import textwrap
from collections.abc import Iterable
from datetime import timedelta
from itertools import groupby
from typing import Final

from coverage_audit.audits.retirement import Retirement
from coverage_audit.estate.units import format_duration, format_size
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.elsewhere import Held, LoneFile
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import amount, files
from coverage_audit.reports.retire_drives import drives_told
from coverage_audit.scenarios.retirement import Verdict

_MOST_NAMED: Final = 20
_SAID: Final = {
    Verdict.CLEAR: "clear: all that was looked at is held by what stays, and every dataset conforms without it",
    Verdict.NOT_CLEAR: "not clear: something would be lost, or a dataset would not conform",
    Verdict.CANNOT_TELL: "cannot tell: not everything was seen that must be seen",
}


def retire_text(found: Retirement, *, width: int = 100) -> str:
    """Write a retirement as lines of at most `width` characters."""
    lines: list[str] = []
    for text in _lines(found):
        shown = visible(text)
        indent = len(shown) - len(shown.lstrip())
        lines += textwrap.wrap(
            shown, width, subsequent_indent=" " * (indent + 2), break_on_hyphens=False, drop_whitespace=True
        ) or [""]
    return "\n".join(lines) + "\n"


def _lines(found: Retirement) -> Iterable[str]:
    yield f"{' '.join(found.asked)}: {_SAID[found.verdict]}{waved_away(found)}."
    if found.rehearsal:
        yield "This is a rehearsal: that places are apart is taken as declared."
    for why in found.falls:
        yield f"  {why}" if why.partition(" ")[0] in found.asked else f"  goes too: {why}"
    yield ""
    yield from _figures(found)
    yield from _drives(found)
    yield from _named("Only here", found, Held.ONLY_HERE)
    yield from _named("By listing only, or not read", found, Held.BY_LISTING, Held.BY_SIZE)
    yield from _named("Perhaps in a place that was not seen", found, Held.PERHAPS)
    yield from _not_observed(found)
    if found.steps:
        yield ""
        yield "What to do, most at stake first:"
        for number, step in enumerate(found.steps, 1):
            yield f"  {number}. {step}"
    elif found.verdict is Verdict.CLEAR:
        yield ""
        yield (
            "Before it leaves: make the dossier (--dossier DIR). It says what to do next; what is not mounted was not "
            "looked at, and this tool erases nothing."
        )


def waved_away(found: Retirement) -> str:
    """Say what is not asked about on its owner's word; empty where nothing is."""
    words = found.elsewhere.not_kept
    waved, claimed = (sum(tallies, Tally()) for tallies in ((w.tally for w in words), (w.claimed for w in words)))
    of_datasets = f" ({files(claimed.files)} of datasets among them)" if claimed.files else ""
    return f"; {amount(waved)} need not be kept, as its owner says{of_datasets}" if waved.files else ""


def _figures(found: Retirement) -> Iterable[str]:
    held, kinds = found.elsewhere, found.elsewhere.kinds
    yield f"{amount(kinds.files)} on {', '.join(map(str, found.volumes)) or 'no volume'}"
    for one in Held:
        if held.of(one).files:
            yield f"  {one.value}: {amount(held.of(one))}"
    yield (
        f"  among them: {amount(kinds.hard_linked)} of several names, {kinds.empty} empty, "
        f"{amount(kinds.left_out)} that datasets leave out"
    )
    yield f"  besides: {kinds.links} links ({kinds.links_out} lead outside), {kinds.others} devices, pipes or sockets"
    for word in held.not_kept:
        if word.tally.files or word.who:
            yield f"  need not be kept: {word.pattern}: {amount(word.tally)} ({word.who}: {word.why})"
    read = found.reading
    if read.files or read.remembered:
        took = f" in {format_duration(_whole(read.seconds))}" if read.seconds >= 1 else ""
        now = amount(Tally(files=read.files, bytes=read.bytes))
        yield f"  content read now: {now}{took}; remembered: {read.remembered}"
    for note in read.notes:
        yield f"  {note}"


def _drives(found: Retirement) -> Iterable[str]:
    for told in drives_told(found):
        yield ""
        yield f"{told.view.title}:"
        yield from (f"  {sentence}" for sentence in told.said)
        yield from (f"  {name}: {figure}" for name, figure in told.view.figures)
        yield from (f"  {line}" for line in (*told.view.ages, *told.view.steps))
        yield from (f"  No proven copy elsewhere: {name}, {what}" for name, what in told.view.at_stake)
        yield from (f"  - {assumption}" for assumption in told.view.assumptions)


def _whole(seconds: float) -> timedelta:
    return timedelta(seconds=round(seconds))


def _named(title: str, found: Retirement, *classes: Held) -> Iterable[str]:
    files = [one for one in found.elsewhere.lone if one.held in classes]
    if not files:
        return
    yield ""
    yield f"{title}:"
    for why, alike in groupby(files[:_MOST_NAMED], key=lambda one: one.why):
        same = tuple(alike)
        if len(same) == 1:
            yield f"  {_file(same[0])}; {why}"
            continue
        yield f"  {why}:"
        yield from (f"    {_file(one)}" for one in same)
    more = found.elsewhere.of(*classes).files - min(len(files), _MOST_NAMED)
    if more > 0:
        yield f"  and {more} more (--json or --dossier name them)"


def _not_observed(found: Retirement) -> Iterable[str]:
    """Name what was not looked at, what stands in the way first, and each reason once."""
    if not found.not_observed:
        return
    yield ""
    yield "Not observed:"
    named = sorted(found.not_observed, key=lambda one: not one.blocks)
    alike = dict[str, list[str]]()
    for one in named[:_MOST_NAMED]:
        alike.setdefault(one.why + ("" if one.blocks else " (named only)"), []).append(one.what)
    for why, places in alike.items():
        if len(places) == 1:
            yield f"  {places[0]}: {why}"
            continue
        yield f"  {why}:"
        yield from (f"    {place}" for place in places)
    if len(named) > _MOST_NAMED:
        yield f"  and {len(named) - _MOST_NAMED} more (--json or --dossier name them)"


def _file(one: LoneFile) -> str:
    whose = f" ({one.dataset})" if one.dataset else ""
    return f"{one.volume}/{os.fsdecode(one.path)}{whose}: {format_size(one.size)}"
