"""What a comparison saw beside what differs, in sentences: what could not be compared, what the copy cannot hold."""

from __future__ import annotations

from collections.abc import Iterator

from coverage_audit.evidence.difference import CopyComparison, Seen, Sight
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import amount, files


def about_sights(found: CopyComparison) -> Iterator[str]:
    """Say all of it, what could not be compared first."""
    for what in found.not_compared:
        yield f"not compared: {what}"
    if found.mode.digest and not found.mode.times:
        yield f"compared by {found.mode.digest} digests"
    if found.unproven.files:
        yield f"{amount(found.unproven)} count as held by {_weak_sign(found)} alone, which proves no content"
    for seen in found.sights:
        yield _SENTENCES[seen.sight].format(
            count=files(seen.entries), entries=seen.entries, such=_such(seen), beside=_beside(seen)
        )


def _weak_sign(found: CopyComparison) -> str:
    return "size" if found.mode.sizes else "being there"


def _beside(seen: Seen) -> str:
    return visible(seen.beside) if seen.sight is Sight.REFUSED_NAME else f"“{visible(seen.beside)}”"


def _such(seen: Seen) -> str:
    return f", e.g. “{visible(seen.example)}”" if seen.example else ""


_SENTENCES = {
    Sight.RETIMED: "{count} are held by digest although their times differ",
    Sight.OTHER_SPELLING: "{count} are held under another spelling (case or Unicode form){such} as {beside}",
    Sight.COLLIDING: "{count} missing by a collision of names{such} collides with {beside} in the copy: "
    "they differ in case or Unicode form alone, and it can hold one of them",
    Sight.UNSOUGHT: "{count} of those missing were not looked for under another spelling: there are too many",
    Sight.REFUSED_NAME: "{count} that are missing have names that usual targets refuse{such} ({beside})",
    Sight.UNLINKED: "{count} are further names of one file in the original and files of their own in the copy "
    "(hard links are not kept){such}",
    Sight.FILLED: "{count} are sparse in the original and take up all of their size in the copy{such}",
    Sight.SPECIAL: "{entries} devices, pipes or sockets are missing or of another kind in the copy{such}",
    Sight.PLACEHOLDER: "{count} that are missing take up nothing in the original either{such}: "
    "placeholders of files kept elsewhere, or empty of content",
    Sight.LEADING_OUT: "{entries} links lead outside all that is declared, or nowhere{such} to {beside}",
    Sight.OPEN: "{count} that are not held as they are are of kinds that programs keep open{such}",
    Sight.WRITTEN_MEANWHILE: "{count} of kinds that programs keep open were written during the listing{such}",
    Sight.WITHOUT_LOG: "{count} that are missing are logs of databases that are there{such} of {beside}",
}
