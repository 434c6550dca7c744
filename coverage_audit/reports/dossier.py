"""The dossier of a retirement: a page to sign, with the evidence, what stands in the way, and what to do next."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from coverage_audit.audits.retirement import Retirement
from coverage_audit.errors import ReportError
from coverage_audit.estate.model import Estate
from coverage_audit.estate.units import format_about, format_size
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.elsewhere import Held, LoneFile
from coverage_audit.judgement.wording import amount, so_many
from coverage_audit.reports.dossier_files import files_csv
from coverage_audit.reports.dossier_next import CAUTIONS, CHOICE, methods, next_steps
from coverage_audit.reports.page_words import Clock
from coverage_audit.reports.retire_drives import drives_told
from coverage_audit.reports.retire_json import retire_json
from coverage_audit.reports.retire_text import waved_away
from coverage_audit.reports.templating import render
from coverage_audit.reports.writing import write_page
from coverage_audit.scenarios.retirement import Verdict

PAGE: Final = "dossier.html"
OBJECT: Final = "retire.json"
FILES: Final = "only-here.csv"
_MOST_NAMED: Final = 200
_SAID: Final = {
    Verdict.CLEAR: "All that was looked at is held by what stays, and every dataset conforms without it.",
    Verdict.NOT_CLEAR: "Something would be lost, or a dataset would not conform.",
    Verdict.CANNOT_TELL: "Not everything was seen that must be seen before it may leave.",
}
_TAGS: Final = {
    Verdict.CLEAR: "conforming",
    Verdict.NOT_CLEAR: "nonconforming",
    Verdict.CANNOT_TELL: "unverified",
}


@dataclass(frozen=True, kw_only=True)
class FileView:
    """One file as the page names it."""

    address: str
    size: str
    dataset: str
    how: str
    why: str


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A figure with its words."""

    words: str
    figure: str


def write_dossier(folder: Path, found: Retirement, estate: Estate) -> None:
    """Write page, JSON and list into a folder, which is made. Raises ReportError where that cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ReportError(f"{folder}: the dossier's folder cannot be made ({error.strerror or error})") from error
    write_page(folder / PAGE, dossier_page(found, estate))
    write_page(folder / OBJECT, retire_json(found) + "\n")
    only_here = [one for one in found.elsewhere.lone if one.held is Held.ONLY_HERE]
    write_page(folder / FILES, files_csv(only_here))


def dossier_page(found: Retirement, estate: Estate) -> str:
    """Make the page. Raises ReportError where the template cannot be filled."""
    clock = Clock(zone=estate.time_zone, now=found.finished)
    named = found.elsewhere.lone[:_MOST_NAMED]
    all_lone = found.elsewhere.of(Held.ONLY_HERE, Held.BY_LISTING, Held.BY_SIZE, Held.PERHAPS)
    return render(
        "dossier.html",
        found=found,
        asked=" and ".join(found.asked),
        said=_SAID[found.verdict].removesuffix(".") + waved_away(found) + ".",
        tag_class=_TAGS[found.verdict],
        made=clock.moment(found.finished),
        started=clock.moment(found.started),
        zone=estate.time_zone.key,
        figures=tuple(_figures(found)),
        drives=drives_told(found),
        files=tuple(map(_file, named)),
        more=all_lone.files - len(named),
        only_here=FILES,
        whole_object=OBJECT,
        walked=tuple(
            (one, clock.moment(one.at), amount(Tally(files=one.files, bytes=one.bytes))) for one in found.walked
        ),
        reading=_reading(found),
        changed=_changed(found),
        not_kept=tuple((one, amount(one.tally)) for one in found.elsewhere.not_kept),
        methods=methods(one.medium for one in found.walked if not one.stays),
        choice=CHOICE,
        cautions=CAUTIONS,
        next_steps=next_steps(found.verdict, found.asked, Path(estate.file).name),
    )


def _figures(found: Retirement) -> Iterable[Figure]:
    held, kinds = found.elsewhere, found.elsewhere.kinds
    yield Figure(words="files in all", figure=amount(kinds.files))
    for one in Held:
        yield Figure(words=one.value, figure=amount(held.of(one)))
    yield Figure(words="names of files that have several", figure=amount(kinds.hard_linked))
    yield Figure(words="empty files", figure=str(kinds.empty))
    yield Figure(words="left out of copies by the datasets", figure=amount(kinds.left_out))
    yield Figure(words="symbolic links", figure=f"{kinds.links}, {kinds.links_out} of them leading outside")
    yield Figure(words="devices, pipes and sockets, without content", figure=str(kinds.others))


def _file(one: LoneFile) -> FileView:
    return FileView(
        address=f"{one.volume}/{os.fsdecode(one.path)}",
        size=format_size(one.size),
        dataset=one.dataset or "",
        how=one.held.value,
        why=one.why,
    )


def _reading(found: Retirement) -> Sequence[str]:
    read = found.reading
    now = amount(Tally(files=read.files, bytes=read.bytes))
    told = [f"Content of {now} was read for this; {so_many(read.remembered, 'digest')} of earlier readings stood."]
    if read.left is not None:
        told.append(f"Reading the rest takes {format_about(read.left)}.")
    return (*told, *read.notes)


def _changed(found: Retirement) -> Sequence[str]:
    return [f"{volume}/{os.fsdecode(path)}" for volume, path in found.changed[:_MOST_NAMED]]
