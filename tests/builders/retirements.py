"""Retirements as they come out of an audit, made up: all that a dossier has to show."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from coverage_audit.audits.retirement import (
    AfterDataset,
    NotObserved,
    Reading,
    Retirement,
    WalkedPlace,
)
from coverage_audit.audits.retiring_wish import NotKeptWord
from coverage_audit.estate.model import Address, DatasetId, DeviceId, Medium, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.elsewhere import Elsewhere, Held, Kinds, LoneFile, NotKeptTally
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.scenarios.drive_out import DriveOut
from coverage_audit.scenarios.retirement import Break, Verdict
from tests.builders.judged import NOW
from tests.builders.station import a_key

MAIN, POOL = a_key("kestrel:main"), a_key("heron:pool")


def a_retirement(name: str = "field-recordings", verdict: Verdict = Verdict.NOT_CLEAR) -> Retirement:
    """One that is not clear: with every kind of entry, each of which bears `name` where the world can give a name."""
    return Retirement(
        verdict=verdict,
        estate="Saltreach Field Station",
        asked=("kestrel",),
        devices=(DeviceId("kestrel"),),
        volumes=(MAIN,),
        falls=("avocet runs on kestrel",),
        started=NOW - timedelta(hours=2),
        finished=NOW,
        rehearsal=False,
        elsewhere=_elsewhere(name),
        breaks=(
            Break(dataset=DatasetId(name), rule="enough-copies", message=f"{name}: 1 of 2", mend="copy", proven=True),
        ),
        not_observed=(NotObserved(what=f"kestrel:main/{name}", why=name, mend="look"),),
        changed=((MAIN, name.encode("utf-8", "surrogateescape")),),
        datasets=(
            AfterDataset(
                dataset=DatasetId(name),
                touched=True,
                before=Conclusion.CONFORMING,
                after=Conclusion.NONCONFORMING,
                original=Address(volume=POOL, path=name),
                moved=True,
            ),
            AfterDataset(
                dataset=DatasetId("herbarium"),
                touched=False,
                before=Conclusion.CONFORMING,
                after=None,
                original=None,
                moved=False,
            ),
        ),
        walked=(_walked(MAIN, stays=False), _walked(POOL, stays=True)),
        reading=Reading(
            files=3,
            bytes=40_000_000,
            seconds=2.0,
            remembered=2,
            notes=(f"{name} was not read",),
            left=timedelta(hours=3),
        ),
        steps=(f"Copy 1 file (12 MB) of {name} from kestrel:main, to heron:pool (4.1 TB free).",),
        filesystems_not_kept=(NotKeptWord(pattern=f"/{name}", who=name, why=name),),
    )


def a_clear_retirement() -> Retirement:
    """One of which nothing stands in the way."""
    found = a_retirement(verdict=Verdict.CLEAR)
    held = replace(found.elsewhere, lone=(), held={Held.CONTENT: found.elsewhere.kinds.files})
    return replace(found, elsewhere=held, breaks=(), not_observed=(), changed=(), steps=(), falls=())


def a_retirement_of_drives(*drives: DriveOut) -> Retirement:
    """One that was asked about single drives of one volume."""
    asked = tuple(f"{drive.volume}#{drive.number}" for drive in drives)
    return replace(a_retirement(), asked=asked, devices=(), volumes=(drives[0].volume,), falls=(), drives=drives)


def _elsewhere(name: str) -> Elsewhere:
    path = name.encode("utf-8", "surrogateescape")
    lone = tuple(
        LoneFile(path=path, volume=MAIN, size=12_000_000, held=held, why="none of its size", dataset=DatasetId(name))
        for held in (Held.ONLY_HERE, Held.BY_LISTING, Held.BY_SIZE, Held.PERHAPS)
    )
    one = Tally(files=1, bytes=12_000_000)
    return Elsewhere(
        kinds=Kinds(files=Tally(files=18_204, bytes=212_000_000_000), hard_linked=one, empty=3, left_out=one, links=7),
        held={Held.CONTENT: Tally(files=18_200, bytes=211_952_000_000), **dict.fromkeys([f.held for f in lone], one)},
        lone=lone,
        not_kept=(NotKeptTally(pattern=f"/{name}/", who=name, why=name, tally=one),),
    )


def _walked(volume: VolumeKey, *, stays: bool) -> WalkedPlace:
    return WalkedPlace(
        volume=volume,
        medium=Medium.SSD if stays else Medium.HDD,
        at=NOW - timedelta(hours=1),
        how="scandir",
        files=18_204,
        bytes=212_000_000_000,
        stays=stays,
    )
