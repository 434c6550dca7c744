"""What `survey` says: for each volume how much lies where and whose it is, and what no volume declares at all."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.audits.surveying import Surveyed
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.surveyed import Holder, Share, UndeclaredFilesystem, VolumeSurvey
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import amount, files, joined, so_many, when
from coverage_audit.reckoning.folder_tree import Branch, tree_of, unclaimed_in
from coverage_audit.reckoning.undeclared import is_system
from coverage_audit.reports.plain import Paper

_ROWS: Final = 40
_CHILDREN: Final = 12
_UNCLAIMED: Final = 10
_BLIND: Final = 10


def survey_text(surveyed: Surveyed, *, zone: ZoneInfo, width: int, colour: bool) -> str:
    """Write a survey, `width` columns wide, ending with a newline."""
    paper = Paper(width=width, colour=colour)
    lines = [*_opening(surveyed, paper)]
    for survey in surveyed.surveys:
        lines += _volume(survey, paper, zone)
    lines += [*_filesystems(surveyed, paper), *_gaps(surveyed, paper)]
    return "\n".join(lines) + "\n"


def _opening(surveyed: Surveyed, paper: Paper) -> Iterator[str]:
    unclaimed = _summed(survey.of(Share.UNCLAIMED) for survey in surveyed.surveys)
    total = _summed(survey.of(*Share) for survey in surveyed.surveys)
    count = len(surveyed.surveys)
    said = f"{so_many(count, 'volume')} surveyed: {amount(total)}, of these in no dataset: {amount(unclaimed)}."
    blind = sum(len(survey.blind) for survey in surveyed.surveys)
    if blind:
        said += f" {so_many(blind, 'place')} could not be read: what lies there is unknown."
    if surveyed.gaps:
        said += f" Not surveyed: {joined(gap.subject for gap in surveyed.gaps)}."
    yield from paper.wrapped(said)


def _volume(survey: VolumeSurvey, paper: Paper, zone: ZoneInfo) -> Iterator[str]:
    tree = tree_of(survey.cells)
    yield from paper.heading(f"{survey.volume}, surveyed {when(survey.at, zone)}")
    parts = [f"{amount(survey.of(Share.CLAIMED))} in datasets", f"{amount(survey.of(Share.UNCLAIMED))} in none"]
    left = [(Share.NOT_KEPT, "need not be kept"), (Share.LITTER, "litter")]
    parts += [f"{amount(survey.of(share))} {said}" for share, said in left if survey.of(share).files]
    yield from paper.wrapped(f"{amount(tree.total)}: {'; '.join(parts)}.")
    unclaimed = unclaimed_in(tree)
    if unclaimed:
        yield from paper.wrapped("Claimed by no dataset, largest first:")
    for one in unclaimed[:_UNCLAIMED]:
        name = f"{visible(one.folder)}/" if one.folder else "the volume's own folder"
        beside = " (only the files directly in it)" if one.loose else ""
        yield from _row(one.tally, f"{name}{beside}", paper)
    if len(unclaimed) > _UNCLAIMED:
        rest = _summed(one.tally for one in unclaimed[_UNCLAIMED:])
        yield from _row(rest, f"in {len(unclaimed) - _UNCLAIMED} more places", paper)
    yield from _blind(survey, paper)
    yield from _left_out(tree, paper)
    if tree.children:
        yield from paper.wrapped(f"What lies where, to {survey.depth} folders deep at most:")
        yield from _branches(tree, paper)


def _branches(tree: Branch, paper: Paper) -> Iterator[str]:
    """List the folders, largest first; one that has a single holder is not told apart further."""
    rows = 0
    waiting = [(child, 0) for child in reversed(tree.children)]
    while waiting and rows < _ROWS:
        branch, level = waiting.pop()
        name = visible(branch.folder.rpartition(b"/")[2])
        yield from _row(branch.total, f"{'  ' * level}{name}/  {_whose(branch)}", paper, level=level)
        rows += 1
        if len(branch.held) > 1:
            waiting += [(child, level + 1) for child in reversed(branch.children[:_CHILDREN])]
    if waiting:
        yield from paper.wrapped(f"... and {len(waiting)} more folders (--json has all)", indent=2)


def _whose(branch: Branch) -> str:
    if len(branch.held) > 1:
        unclaimed = branch.of(Share.UNCLAIMED)
        beside = f", {format_size(unclaimed.bytes)} of it in no dataset" if unclaimed.files else ""
        return f"several{beside}"
    return _said(next(iter(branch.held)))


def _said(holder: Holder) -> str:
    if holder.share is Share.UNCLAIMED:
        return "no dataset"
    if holder.share is Share.CLAIMED:
        return f"volume {holder.name}" if holder.role == "volume" else f"{holder.name} ({holder.role})"
    return f"{holder.share}: {holder.name}"


def _left_out(tree: Branch, paper: Paper) -> Iterator[str]:
    left = [(holder, tally) for holder, tally in tree.held.items() if holder.share in {Share.NOT_KEPT, Share.LITTER}]
    if left:
        yield from paper.wrapped("Left out, and counted in no figure above but the first:")
    for holder, tally in sorted(left, key=lambda pair: -pair[1].bytes):
        word = f": {holder.who} says: {holder.why}" if holder.who else ", what operating systems write by themselves"
        yield from _row(tally, f"{holder.name}{word}", paper)


def _blind(survey: VolumeSurvey, paper: Paper) -> Iterator[str]:
    if survey.blind:
        yield from paper.wrapped("Could not be read, so their sizes are unknown:")
    for place in survey.blind[:_BLIND]:
        yield from paper.wrapped(f"{visible(place.path) or '/'}: {visible(place.why)}", indent=2, hanging=6)
    if len(survey.blind) > _BLIND:
        yield from paper.wrapped(f"... and {len(survey.blind) - _BLIND} more (--json has all)", indent=2)


def _filesystems(surveyed: Surveyed, paper: Paper) -> Iterator[str]:
    if surveyed.filesystems:
        yield from paper.heading("Mounted there, and declared as no volume")
    for found in surveyed.filesystems:
        seen = found.filesystem
        used = "of unknown size" if found.used is None else f"{format_size(found.used)} used"
        words = [visible(seen.filesystem_type), visible(seen.source), *(["over a network"] if seen.is_network else [])]
        yield from paper.wrapped(
            f"{found.device}: {visible(seen.target)}, {used} ({', '.join(words)}){_beside(found)}", indent=2, hanging=6
        )


def _beside(found: UndeclaredFilesystem) -> str:
    if found.partly:
        verb = "is" if len(found.partly) == 1 else "are"
        return f"; {joined(map(str, found.partly))} {verb} declared on it, the rest of it is not looked at"
    return "; the box's own system" if is_system(found.filesystem.target) else ""


def _gaps(surveyed: Surveyed, paper: Paper) -> Iterator[str]:
    if surveyed.gaps or surveyed.unseen:
        yield from paper.heading("What could not be surveyed")
    for gap in surveyed.gaps:
        yield from paper.wrapped(str(gap), indent=2, hanging=6)
    for device, why in surveyed.unseen:
        yield from paper.wrapped(f"what else {device} has mounted: {why}", indent=2, hanging=6)


def _row(tally: Tally, text: str, paper: Paper, *, level: int = 0) -> Iterator[str]:
    size = f"{format_size(tally.bytes):>10}"
    lines = paper.wrapped(f"{text.lstrip()}; {files(tally.files)}", indent=14 + 2 * level, hanging=16 + 2 * level)
    yield f"  {size}{lines[0][12:]}"
    yield from lines[1:]


def _summed(tallies: Iterator[Tally]) -> Tally:
    return sum(tallies, Tally())
