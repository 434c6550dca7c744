"""The retirement: look at all, hold what leaves against what stays, judge without it, look once more, conclude."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from coverage_audit.audits.parts import Parts
from coverage_audit.audits.retirement import NotObserved, Reading, Retirement, WalkedPlace
from coverage_audit.audits.retiring_blind import not_looked_at, undeclared_on
from coverage_audit.audits.retiring_content import disagreeing
from coverage_audit.audits.retiring_drives import drives_asked, drives_out
from coverage_audit.audits.retiring_judging import judge_twice
from coverage_audit.audits.retiring_looking import Looked, look_at_all, walk_again
from coverage_audit.audits.retiring_memory import Memory
from coverage_audit.audits.retiring_reading import Reader
from coverage_audit.audits.retiring_steps import steps_of
from coverage_audit.audits.retiring_trees import SAY_NOT_KEPT, SEE_TO_IT, Trees, trees_of, words_on
from coverage_audit.audits.retiring_wish import RetireWish, leaving_of, originals_of
from coverage_audit.comparison.changed_meanwhile import changed_meanwhile
from coverage_audit.comparison.held_elsewhere import HeldElsewhere
from coverage_audit.comparison.held_rows import count_links_out
from coverage_audit.errors import UsageError
from coverage_audit.estate.model import Address, Estate, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.elsewhere import Elsewhere, Held, Kinds, NotKeptTally
from coverage_audit.evidence.engine import Engine, open_engine
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.scenarios.retirement import Break, Verdict

MOST_NAMED: Final = 1_000_000
"""So many files that are not held are named; of more it is said how many they are."""


def run_retirement(estate: Estate, wish: RetireWish, parts: Parts) -> Retirement:
    """Say whether what is named may leave. Nothing is recorded but the digests of what was read.

    Raises UsageError for what is not declared or, of `--original`, not there, and for drives that cannot be replaced;
    else as an audit does.
    """
    started = parts.clock()
    asked = leaving_of(estate, wish.targets)
    named = originals_of(estate, wish.originals, asked)
    drives = drives_asked(estate, wish)
    looked = look_at_all(estate, asked, named.values(), parts)
    _require_originals(estate, named.values(), looked)
    trees = trees_of(estate, looked, wish.not_kept, parts)
    with open_engine(parts.work.memory, parts.work.folder) as engine:
        elsewhere, reading, disagree = _held(estate, wish, looked, trees, engine, parts)
        judged = judge_twice(estate, looked, named, started, parts)
        breaks = (*judged.breaks, *disagree)
        changed, unseen = _changed(trees, looked, engine, parts)
    filesystems = undeclared_on(estate, looked, parts.ledger)
    not_observed = (
        *trees.not_observed,
        *(NotObserved(what=f"{key}/{os.fsdecode(path)}", why=why, mend=SAY_NOT_KEPT) for key, path, why in trees.blind),
        *unseen,
        *not_looked_at(estate, wish, looked, filesystems),
    )
    verdict = _verdict(elsewhere, breaks, not_observed, changed)
    found = Retirement(
        verdict=verdict,
        estate=estate.name,
        asked=wish.targets,
        devices=tuple(sorted(looked.leaving.devices)),
        volumes=tuple(sorted(looked.leaving.volumes)),
        falls=looked.leaving.falls,
        started=started,
        finished=parts.clock(),
        rehearsal=estate.rehearsal,
        elsewhere=elsewhere,
        breaks=breaks,
        not_observed=not_observed,
        changed=changed,
        datasets=judged.datasets,
        walked=tuple(_walked(estate, looked)),
        reading=reading,
        steps=(),
        filesystems_not_kept=wish.filesystems,
        drives=drives_out(drives, judged.before, looked.leaving, estate, at=started, replacing=wish.replacing),
    )
    return replace(found, steps=steps_of(estate, looked, found))


def _require_originals(estate: Estate, named: Iterable[Address], looked: Looked) -> None:
    """Raise UsageError where what is to be worked on is not there: all that follows from it has one cause."""
    for address in named:
        outcome = looked.sighting.tree(estate, address)
        if isinstance(outcome, Gap) and outcome.kind is GapKind.MISSING:
            raise UsageError(f"--original: there is nothing at {address}")


def _held(
    estate: Estate, wish: RetireWish, looked: Looked, trees: Trees, engine: Engine, parts: Parts
) -> tuple[Elsewhere, Reading, tuple[Break, ...]]:
    """Hold what leaves against what stays, and return with it where places that stay disagree about a file."""
    held = HeldElsewhere(engine, parts.work, trees.leaving, trees.staying)
    held.load()
    reader = Reader(
        estate=estate,
        held=held,
        trees=trees,
        reached=looked.reached,
        parts=parts,
        memory=Memory(estate=estate, parts=parts),
        hash_all=wish.hash_all,
    )
    reading = reader.run()
    classes = held.classes(trees.perhaps)
    lone = held.lone([address.volume for address in trees.leaving_at], MOST_NAMED)
    found = Elsewhere(
        kinds=_kinds(estate, trees, held),
        held=classes,
        lone=lone,
        not_kept=tuple(_not_kept(estate, wish, trees, held)),
    )
    return found, reading, disagreeing(held, trees.staying_at)


def _kinds(estate: Estate, trees: Trees, held: HeldElsewhere) -> Kinds:
    kinds = sum((seen.kinds for seen in held.seen), Kinds())
    out = 0
    for address, tree in zip(trees.leaving_at, held.leaving, strict=True):
        roots = [os.fsencode(volume.path) for volume in estate.device(address.volume.device).volumes if volume.path]
        out += count_links_out(tree, roots)
    return replace(kinds, links_out=out)


def _not_kept(estate: Estate, wish: RetireWish, trees: Trees, held: HeldElsewhere) -> Iterable[NotKeptTally]:
    nothing = (Tally(), Tally())
    found = {(w.pattern, w.who, w.why): nothing for w in wish.not_kept}
    for address, seen in zip(trees.leaving_at, held.seen, strict=True):
        words = words_on(estate, address.volume, wish.not_kept)
        for number, tally in seen.by_pattern.items():
            word = words[number]
            key = (word.pattern, word.who, word.why)
            before = found.get(key, nothing)
            found[key] = (before[0] + tally, before[1] + seen.claimed[number])
    for (pattern, who, why), (tally, claimed) in found.items():
        yield NotKeptTally(pattern=pattern, who=who, why=why, tally=tally, claimed=claimed)


def _changed(
    trees: Trees, looked: Looked, engine: Engine, parts: Parts
) -> tuple[tuple[tuple[VolumeKey, bytes], ...], tuple[NotObserved, ...]]:
    """Walk once more what leaves; return what changed meanwhile, and what could not be walked again."""
    again = walk_again(looked, parts)
    changed: list[tuple[VolumeKey, bytes]] = []
    unseen: list[NotObserved] = []
    for address, tree in zip(trees.leaving_at, trees.leaving, strict=True):
        second = again.get(address)
        if second is None or isinstance(second, Gap):
            why = str(second) if second else "no answer came"
            said = f"it was not seen once more at the end: {why}"
            unseen.append(NotObserved(what=str(address), why=said, mend=SEE_TO_IT))
            continue
        changed += [(address.volume, path) for path in changed_meanwhile(engine, tree, second)]
    return tuple(changed), tuple(unseen)


def _verdict(
    elsewhere: Elsewhere, breaks: Iterable[Break], not_observed: Iterable[NotObserved], changed: Iterable[object]
) -> Verdict:
    """Conclude: what is proven to be lost outranks what is not known, and only nothing of either is clear."""
    broken = tuple(breaks)
    if elsewhere.of(Held.ONLY_HERE).files or any(one.proven for one in broken):
        return Verdict.NOT_CLEAR
    unknown = elsewhere.of(Held.BY_LISTING, Held.BY_SIZE, Held.PERHAPS).files
    if unknown or broken or any(one.blocks for one in not_observed) or any(True for _ in changed):
        return Verdict.CANNOT_TELL
    return Verdict.CLEAR


def _walked(estate: Estate, looked: Looked) -> Iterable[WalkedPlace]:
    for key, whole in sorted(looked.wholes.items()):
        if isinstance(whole, Gap):
            continue
        yield WalkedPlace(
            volume=key,
            medium=estate.volume(key).medium,
            at=whole.origin.started,
            how=whole.origin.how,
            files=whole.census.files,
            bytes=whole.census.bytes,
            stays=key not in looked.leaving.volumes,
        )
