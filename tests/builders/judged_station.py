"""The whole invented station, judged: twelve datasets in every standing, for looking at reports."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from coverage_audit.estate.model import Estate, Proof
from coverage_audit.evidence.difference import Exposure, RowVerdict, Tally
from coverage_audit.evidence.facts import GapKind
from coverage_audit.judgement.verdict import (
    Answer,
    Conclusion,
    Finding,
    JudgedCopy,
    JudgedDataset,
    JudgedEstate,
    Standing,
)
from tests.builders.judged import (
    NOW,
    a_comparison,
    a_copy,
    a_dataset,
    a_finding,
    a_gap,
    a_sample,
    address,
    an_estate,
    an_item,
    judged,
    renamed,
    since_all,
)

_EMPTY = an_estate()
_HELD = "holds all 18 204 files of the original"


def _good(name: str) -> tuple[JudgedCopy, ...]:
    return (
        a_copy(_EMPTY, address("heron", f"mirror/{name}"), age=timedelta(hours=3), reason=_HELD),
        a_copy(_EMPTY, address("curlew", name), age=timedelta(hours=22), reason=_HELD),
        a_copy(
            _EMPTY,
            address("shelf-b", name),
            age=timedelta(days=19),
            max_age=timedelta(days=35),
            reason="its manifest of 6 November holds all that was there then",
        ),
    )


def _conform(name: str) -> tuple[Finding, ...]:
    return tuple(
        a_finding(
            rule,
            name,
            Answer.CONFORMITY,
            message=f"{name} has {measured}.",
            measured=measured,
            required=required,
            mend="",
            evidence=(an_item(),),
        )
        for rule, measured, required in (
            ("copies", "4 copies shown apart", "3 copies"),
            ("media", "2 media", "2 media"),
            ("offsite", "2 copies at another site", "1 copy"),
        )
    )


def _herbarium() -> JudgedDataset:
    lacks = a_comparison(
        missing=Tally(files=1_204, bytes=3_400_000_000),
        pending=Tally(files=4, bytes=88_000),
        samples=(
            a_sample(b"orchidaceae/2011/sheet-004.tif"),
            a_sample(b"orchidaceae/2011/sheet-005.tif"),
            a_sample(b"new/sheet-900.tif", RowVerdict.PENDING),
        ),
    )
    copies = (
        a_copy(
            _EMPTY,
            address("heron", "mirror/herbarium-scans"),
            standing=Standing.INCOMPLETE,
            age=timedelta(days=410),
            comparison=lacks,
            reason="it lacks orchidaceae/2011 and holds files that came after it",
            remarks=("12 files are there under an old name",),
        ),
        a_copy(
            _EMPTY,
            address("curlew", "herbarium-scans"),
            standing=Standing.STALE,
            age=timedelta(days=11),
            comparison=lacks,
            reason="nothing newer than 14 November has arrived",
        ),
    )
    return a_dataset(
        "herbarium-scans",
        copies,
        conclusion=Conclusion.NONCONFORMING,
        exposure=Exposure(files=1_204, bytes=3_400_000_000, since=NOW - timedelta(days=11)),
        findings=(
            a_finding(
                "completeness",
                "herbarium-scans@heron:pool/mirror/herbarium-scans",
                message="The copy on heron lacks 1 204 files (3.4 GB) although it holds newer ones.",
                measured="1 204 files missing",
                required="nothing older than 26 h missing",
                mend="Copy orchidaceae/2011 from kestrel to heron again and look why the job leaves it out.",
                evidence=(an_item("18 204 files", "kestrel:main/herbarium-scans"), an_item("17 000 files")),
            ),
            a_finding(
                "age",
                "herbarium-scans@curlew:store/herbarium-scans",
                message="The copy on curlew stands where it stood 11 days ago.",
                measured="11 days",
                required="26 h",
                mend="See whether the nightly job on curlew still runs.",
            ),
            a_finding("copies", "herbarium-scans", measured="1 copy", required="3 copies"),
        ),
    )


def _ledger() -> JudgedDataset:
    copies = (
        a_copy(
            _EMPTY,
            address("heron", "mirror/station-ledger"),
            standing=Standing.DAMAGED,
            age=timedelta(hours=4),
            comparison=a_comparison(changed=Tally(files=1, bytes=41_000)),
            reason="ledger-2024.db was changed on its own: the original did not change",
        ),
        *_good("station-ledger")[1:],
    )
    return a_dataset(
        "station-ledger",
        copies,
        conclusion=Conclusion.NONCONFORMING,
        findings=(
            a_finding(
                "completeness",
                "station-ledger@heron:pool/mirror/station-ledger",
                message="ledger-2024.db on heron was changed although the original was not.",
                measured="1 file changed on its own",
                required="none",
                mend="Compare the two files by hand; then copy the right one over the other.",
            ),
        ),
    )


def _unseen(name: str) -> JudgedDataset:
    gap = a_gap(detail="no answer within 15 s")
    copies = (
        _good(name)[0],
        a_copy(
            _EMPTY,
            address("curlew", name),
            standing=Standing.UNVERIFIED,
            age=None,
            gap=gap,
            reason="curlew could not be reached in this audit",
        ),
        _good(name)[2],
    )
    return a_dataset(
        name,
        copies,
        conclusion=Conclusion.UNVERIFIED,
        exposure=None,
        findings=(
            a_finding(
                "offsite",
                name,
                Answer.UNVERIFIED,
                message="Whether a fresh copy stands at another site is not known: curlew did not answer.",
                measured="not observed",
                required="1 copy at another site",
                mend="Switch curlew on, or see why its network is down; then audit again.",
            ),
            *_conform(name)[:2],
        ),
    )


def _original_unseen() -> JudgedDataset:
    gap = a_gap("kestrel:main/weather-log", GapKind.UNREADABLE, "Permission denied")
    whole = a_dataset("weather-log", _good("weather-log"), conclusion=Conclusion.UNVERIFIED, exposure=None, tree=gap)
    finding = a_finding(
        "evidence-age",
        "weather-log@kestrel:main/weather-log",
        Answer.UNVERIFIED,
        message="The original could not be read, so its copies were judged as it was two days ago.",
        measured="2 days",
        required="this audit",
        mend="Let the auditor's account read kestrel:main/weather-log.",
    )
    return replace(whole, findings=(finding,))


def _dated() -> JudgedDataset:
    copies = (
        *_good("survey-sheets")[:2],
        a_copy(
            _EMPTY,
            address("curlew", "points/{point}/survey-sheets"),
            age=timedelta(minutes=40),
            proof=Proof.DATED,
            reason="its newest recovery point is of 03:51",
        ),
    )
    return a_dataset("survey-sheets", copies, findings=_conform("survey-sheets"))


def the_station(*, rehearsal: bool = False) -> tuple[JudgedEstate, Estate, dict[str, datetime]]:
    """Return the judged estate, the estate, and since when each finding is open."""
    good = ("field-recordings", "moth-plates", "river-levels", "visitor-book", "maps", "letters")
    waived = a_finding(
        "offline",
        "river-levels",
        Answer.WAIVED,
        message="No copy of river-levels is kept offline.",
        measured="0 copies",
        required="1 copy",
        mend="",
    )
    datasets = (
        *(a_dataset(name, _good(name), findings=_conform(name)) for name in good),
        _dated(),
        _herbarium(),
        _ledger(),
        _unseen("camera-trap"),
        renamed(_unseen("nest-boxes"), "nest-boxes"),
        _original_unseen(),
    )
    datasets = tuple(
        replace(each, waived=1, findings=(*each.findings, waived)) if each.id == "river-levels" else each
        for each in datasets
    )
    observed = a_finding(
        "clocks",
        "heron",
        Answer.OBSERVATION,
        message="The clock of heron is 3 min behind the auditor's.",
        measured="3 min",
        required="2 min",
        mend="Let heron take its time from the network.",
    )
    whole = judged(
        datasets,
        findings=(observed,),
        gaps=(a_gap(detail="no answer within 15 s"),),
        rehearsal=rehearsal,
        waived=1,
    )
    since = dict(since_all(whole))
    return whole, an_estate(datasets, rehearsal=rehearsal), since
