"""Content: what the copies hold can be read, and is what the original holds.

What it asks: `verify` of the policy, of each copy: a simple random sample of the files that it was found to hold, read
on both sides, not longer ago than `every`, shows with the confidence asked for that fewer than the tolerable share of
them differ. A file that cannot be read counts as one that differs; so does, until it is read again, one of the sample
that came or was written to since: each night the sample is held against what is listed then (sizes, mtimes, ctimes).
Where all are read (`verify --all`) the share that could not be must be tolerable, too, until a later sample is read:
the one before may have missed them. Of an original and of a copy: that no file has another content than when it was
read before, though neither its size nor its times say that it was written to.

Why: a listing shows names, sizes and times. A disk that forgets, a cable that flips bits and a program that wrote over
the copy change none of these.

How to mend: bring the named files back from where they are right: another copy, or the original where it is the copy
that is spoilt; look at the drive that held them. Then `coverage-audit verify` takes a new sample. A file of the
original that is right as it is now bears that out once it is saved anew (its time changes).

What it cannot show: a box that lies, and tells the digest that the other side would have; what a drive does to a file
after it was read; over a way that shows no ctimes, a file that was rewritten since, its size and mtime put back.

The control: NIST SP 800-53 Rev. 5 CP-9(1) (testing backup information for reliability and integrity); CIS Controls v8
11.5.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from coverage_audit.estate.criteria import Verify
from coverage_audit.evidence.verified import Harm, Sampled, Spoilt, Verified, WholeReading
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.content_shown import USUAL, in_words, share, statement_of, terms_of, why_not_shown
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import dataset_subject, place_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding, JudgedCopy
from coverage_audit.judgement.wording import NAMES_SHOWN, amount, duration, files, joined, when

RULE = Rule(
    id="content",
    title="Content that was read",
    control=supports("NIST SP 800-53 Rev. 5 CP-9(1) and CIS Controls v8 11.5"),
    doc=__doc__ or "",
)

_HARMS: Final = {
    Harm.DIFFERS: "differs from the original's",
    Harm.DECAYED: "decayed: another content at the same size and times",
    Harm.REWRITTEN: "was written to, with its size and time put back",
}
_SPOILT: Final = (
    "Bring the named files back from where they are right, look at the drive, then `coverage-audit verify`."
)
_UNSHOWN: Final = "Let the auditor's account read the files on both sides; `coverage-audit verify` reads a sample now."


@dataclass(frozen=True, kw_only=True)
class _Said:
    answer: Answer
    measured: str
    message: str
    degree: float | None = None


def check(context: DatasetContext) -> Iterable[Finding]:
    """Say of each copy what reading its content has shown, and of the original what of it decayed."""
    original = context.case.original
    if original.spoilt_files:
        said = f"the content of {files(original.spoilt_files)} of the original changed{_named(original.spoilt)}"
        yield _finding(
            place_subject(context.dataset.id, context.dataset.original),
            str(context.dataset.original),
            _Said(
                answer=Answer.NONCONFORMITY,
                measured=f"{files(original.spoilt_files)} spoilt",
                message=said + _where_to_get(original.spoilt),
                degree=float(original.spoilt_files),
            ),
            required="no file whose content changes by itself",
            mend=_SPOILT,
            evidence=tuple(_item_of(one, str(context.dataset.original)) for one in original.spoilt[:NAMES_SHOWN]),
        )
    for copy in context.copies:
        terms = terms_of(copy.evidence.copy, context.policy)
        if terms is not None or copy.evidence.verified is not None:
            yield _of_copy(copy, terms, context)
    if context.policy.verify is not None and not context.copies:
        none = _Said(answer=Answer.UNVERIFIED, measured="no copy", message="there is no copy that could be read")
        name = context.dataset.id
        yield _finding(dataset_subject(name), name, none, required=str(context.policy.verify))


def _of_copy(copy: JudgedCopy, terms: Verify | None, context: DatasetContext) -> Finding:
    verified = copy.evidence.verified
    said = _judged(copy, verified, terms, context)
    more = "".join(f"; {part}" for part in _besides(verified, context)) if verified is not None else ""
    return _finding(
        place_subject(context.dataset.id, copy.address),
        str(copy.address),
        _Said(answer=said.answer, measured=said.measured, message=said.message + more, degree=said.degree),
        required=_required(terms),
        mend=_SPOILT if said.degree else _UNSHOWN if said.answer is Answer.UNVERIFIED else "",
        evidence=tuple(_items(copy, verified)),
    )


def _judged(copy: JudgedCopy, verified: Verified | None, terms: Verify | None, context: DatasetContext) -> _Said:
    if verified is not None and verified.spoilt_files:
        return _Said(
            answer=Answer.NONCONFORMITY if terms else context.own_answer(Answer.NONCONFORMITY),
            measured=f"{files(verified.spoilt_files)} spoilt",
            message=f"the content of {files(verified.spoilt_files)} is not right{_named(verified.spoilt)}",
            degree=float(verified.spoilt_files),
        )
    if terms is None:
        return _unasked(verified, context)
    if copy.evidence.copy.is_opaque:
        opaque = "none of its points is a tree that could be read file by file"
        return _Said(answer=Answer.UNVERIFIED, measured="not read", message=opaque)
    why = why_not_shown(verified, terms, context.finished, context.zone)
    last = verified.last if verified is not None else None
    if why is not None or last is None:
        return _Said(answer=Answer.UNVERIFIED, measured="not shown" if last else "not read", message=why or "not read")
    statement = statement_of(last, terms)
    measured = in_words(statement, last, terms.tolerable) if statement else "not shown"
    return _Said(answer=Answer.CONFORMITY, measured=measured, message=f"{measured}: {_how_read(last, context)}")


def _unasked(verified: Verified | None, context: DatasetContext) -> _Said:
    """Say what was read though the policy asks for none of it."""
    last = verified.last if verified is not None else None
    statement = statement_of(last, USUAL) if last is not None else None
    if last is None or statement is None:
        none = "no sample of its content was read to its end yet"
        return _Said(answer=Answer.OBSERVATION, measured="not asked for", message=none)
    measured = in_words(statement, last, USUAL.tolerable)
    return _Said(answer=Answer.OBSERVATION, measured=measured, message=f"{measured}: {_how_read(last, context)}")


def _how_read(sample: Sampled, context: DatasetContext) -> str:
    until = sample.ended or sample.began
    read = f"{sample.sampled} of them, drawn at random, were read from {when(sample.began, context.zone)}"
    return f"{read} to {when(until, context.zone)}"


def _besides(verified: Verified, context: DatasetContext) -> Iterator[str]:
    last, running = verified.last, verified.running
    if last is not None and last.not_shown:
        yield f"{files(last.not_shown)} of the sample could not be read and count as if they differed"
    if last is not None and last.fallen:
        yield f"{files(last.fallen)} of the sample are not read as they are now and count as if they differed"
    if last is not None and last.by_time:
        yield "no ctimes are shown on both sides: what was rewritten since, size and time put back, would not be seen"
    if last is not None and last.beside:
        yield (
            f"{files(last.beside)} beside the sample, those never read before in the first place, were read and are "
            "no part of what it says"
        )
    if running is not None and last is not None:
        yield f"of the next sample {running.sampled} of {files(running.asked)} are read"
    if verified.whole is not None:
        yield _whole_in_words(verified.whole, context)
    if verified.why_not is not None:
        yield f"not all was read in this audit: {verified.why_not.kind} ({visible(verified.why_not.detail)})"


def _whole_in_words(whole: WholeReading, context: DatasetContext) -> str:
    """Say how far the reading of all files has come, or what it found."""
    read = amount(whole.same)
    wanting = f", {whole.differing} differ" if whole.differing else ""
    wanting += f", {whole.not_shown} could not be read" if whole.not_shown else ""
    wanting += f", {whole.changed} were edited before they were reached" if whole.changed else ""
    if whole.ended is not None:
        held, read_by = when(whole.asked, context.zone), when(whole.ended, context.zone)
        return f"all that it held {held} was read by {read_by}: {read} are right{wanting}"
    through = f", through by {when(whole.through, context.zone)}" if whole.through is not None else ""
    return f"all of it is being read: {read} are right{wanting}, {amount(whole.left)} are left{through}"


def _required(terms: Verify | None) -> str:
    if terms is None:
        return "nothing read that is not right"
    tolerable, sure = share(terms.tolerable), share(terms.confidence)
    return f"fewer than {tolerable} differing, with {sure} confidence, every {duration(terms.every)}"


def _named(spoilt: Iterable[Spoilt]) -> str:
    found = tuple(spoilt)
    said = [f"“{visible(one.path)}” {_HARMS[one.harm]}" for one in found[:NAMES_SHOWN]]
    return f": {', '.join(said)}" if said else ""


def _where_to_get(spoilt: Iterable[Spoilt]) -> str:
    found = tuple(spoilt)
    places = sorted({str(place) for one in found for place in one.held_by})
    lost = [one for one in found if not one.held_by]
    said = f". What they held before is still at {joined(places)}: get them back from there" if places else ""
    return said + (f". Of {files(len(lost))} of them no copy was seen to hold it" if lost else "")


def _items(copy: JudgedCopy, verified: Verified | None) -> Iterator[EvidenceItem]:
    if verified is None:
        return
    for sample in (verified.last, verified.running):
        if sample is not None:
            what = (
                f"of {amount(sample.population)} held, {sample.asked} drawn: {sample.same} read and right, "
                f"{sample.differing} differing, {sample.not_shown} not readable, {sample.fallen} changed since"
            )
            how = "drawn without replacement, and digested on both sides"
            yield EvidenceItem(what=what, where=str(copy.address), at=sample.ended or sample.began, how=how)
    for one in verified.spoilt[:NAMES_SHOWN]:
        yield _item_of(one, str(copy.address))


def _item_of(one: Spoilt, where: str) -> EvidenceItem:
    return EvidenceItem(
        what=f"“{visible(one.path)}” {_HARMS[one.harm]}: {one.digest.hex()[:16]}…, not {one.wanted.hex()[:16]}…",
        where=where,
        at=one.at,
        how="its content read",
    )


def _finding(
    subject: str,
    where: str,
    said: _Said,
    *,
    required: str,
    mend: str = _UNSHOWN,
    evidence: tuple[EvidenceItem, ...] = (),
) -> Finding:
    return Finding(
        rule=RULE.id,
        subject=subject,
        answer=said.answer,
        measured=said.measured,
        required=required,
        message=f"{where}: {said.message}.",
        mend=mend,
        evidence=evidence,
        control=RULE.control,
        degree=said.degree,
        waivable=said.degree is None,
    )
