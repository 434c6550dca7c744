"""A thousand small estates of real folders: what is said to be clear is deleted for real, and nothing is lost by it.

`COVERAGE_AUDIT_RETIREMENTS` says how many estates are tried, `COVERAGE_AUDIT_RETIREMENTS_FROM` from which number on.
"""

from __future__ import annotations

import hashlib
import logging
import os
import random
import shutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import duckdb
import pytest

from coverage_audit.audits.audit import run_audit
from coverage_audit.audits.retirement import Retirement
from coverage_audit.audits.retiring import run_retirement
from coverage_audit.audits.retiring_wish import NotKeptWord, RetireWish
from coverage_audit.estate.model import DatasetId, Estate
from coverage_audit.estate.reader import read_estate
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import open_ledger
from coverage_audit.scenarios.retirement import Verdict
from tests.builders.retired import InProcess, now

TRIED = int(os.environ.get("COVERAGE_AUDIT_RETIREMENTS", "60"))
FIRST = int(os.environ.get("COVERAGE_AUDIT_RETIREMENTS_FROM", "0"))
HEAD = ("estate: Saltreach Field Station", "time_zone: Europe/Dublin", "sites: {station: {}, barn: {}}")
DEVICES = ("kestrel", "heron", "avocet", "plover")
NAMES = ("a.wav", "b.wav", "B.wav", "notes/c.txt", "notes/a.wav", "x/y/z.bin", "d e.txt", "naïve.txt", "take.part")
CONTENTS = tuple(bytes([65 + number]) * size for number, size in enumerate((1, 40, 40, 40, 4000, 4000, 70_000, 70_000)))
EMPTY = b""
LITTER = "Thumbs.db"
NOT_KEPT = "*.cache"
WORD = NotKeptWord(pattern=NOT_KEPT, who="Aoife", why="made again when needed")


@dataclass
class Made:
    """One estate on disk: its devices' folders, what its datasets are, and which volumes links lead out of, and to."""

    root: Path
    chance: random.Random
    linking: random.Random
    volumes: dict[str, Path] = field(default_factory=dict)
    datasets: list[str] = field(default_factory=list)
    linked: dict[str, str] = field(default_factory=dict)

    def leaving(self) -> tuple[str, ...]:
        """Choose what leaves: often what a link of another volume leads to."""
        devices = sorted({name.partition(":")[0] for name in self.volumes})
        targets = tuple(self.chance.sample(devices, k=self.chance.choice((1, 1, 2))))
        if self.chance.random() < 0.3:
            targets = (self.chance.choice(sorted(self.volumes)),)
        if self.linked and self.linking.random() < 0.7:
            return (self.linking.choice(sorted(self.linked.values())),)
        return targets

    def declare(self) -> Path:
        """Make devices, datasets and files up, and write the estate file."""
        devices = DEVICES[: self.chance.randint(2, 4)]
        lines = [*HEAD, "devices:"]
        for device in devices:
            site = self.chance.choice(("station", "barn"))
            lines += [f"  {device}:", f"    site: {site}", "    access: local", "    volumes:"]
            for volume in ("main", "spare")[: self.chance.choice((1, 1, 2))]:
                path = self.root / device / volume
                path.mkdir(parents=True)
                self.volumes[f"{device}:{volume}"] = path
                lines.append(f'      {volume}: {{path: "{path}", medium: hdd}}')
        lines += ["policies:", "  one: {copies: 1, max_age: 26h}", "  two: {copies: 2, max_age: 26h}", "datasets:"]
        for number in range(self.chance.randint(1, 2)):
            lines += self._dataset(f"set-{number}")
        self._loose()
        file = self.root / "estate.yaml"
        file.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return file

    def _dataset(self, name: str) -> list[str]:
        places = self.chance.sample(sorted(self.volumes), k=min(len(self.volumes), self.chance.randint(1, 4)))
        policy, is_linked = self.chance.choice(("one", "two")), len(places) > 2 and self.linking.random() < 0.6
        first = self.volumes[places[0]] / name
        first.mkdir()
        for _ in range(self.chance.randint(1, 6)):
            self._write(first / self.chance.choice(NAMES))
        for place in places[1:]:
            shutil.copytree(first, self.volumes[place] / name, symlinks=True)
            if self.chance.random() < 0.35:
                self._spoil(self.volumes[place] / name)
        if is_linked:
            policy = "two"
            self._link(name, places)
        leave_out = ', leave_out: ["*.part"]' if self.chance.random() < 0.3 else ""
        copies = ", ".join(f'{{at: "{place}/{name}"}}' for place in places[1:])
        self.datasets.append(name)
        return [f'  {name}: {{policy: {policy}, original: "{places[0]}/{name}", copies: [{copies}]{leave_out}}}']

    def _link(self, name: str, places: list[str]) -> None:
        """Let the root of a copy be a link: to the dataset on another volume, or to where it lies now on its own."""
        place = self.linking.choice(places[1:])
        folder = self.volumes[place] / name
        if self.linking.random() < 0.2:
            there = folder.with_name(f"real {name}")
            folder.rename(there)
        else:
            leads = self.linking.choice([other for other in places if other != place])
            there = self.volumes[leads] / name
            shutil.rmtree(folder)
            self.linked[place] = leads
        folder.symlink_to(there)

    def _loose(self) -> None:
        for path in self.volumes.values():
            while self.chance.random() < 0.3:
                kind = self.chance.random()
                name = f"loose-{self.chance.randint(0, 3)}"
                if kind < 0.7:
                    self._write(path / name)
                elif kind < 0.8:
                    (path / LITTER).write_bytes(b"previews")
                elif kind < 0.9:
                    (path / f"{name}.cache").write_bytes(self.chance.randbytes(30))
                elif not os.path.lexists(path / name):
                    (path / name).symlink_to(self.chance.choice(("/etc/hostname", "set-0/a.wav", "nowhere")))

    def _spoil(self, folder: Path) -> None:
        """Do to a copy what happens to copies."""
        files = [file for file in sorted(folder.rglob("*")) if file.is_file()]
        if not files:
            return
        file = self.chance.choice(files)
        kept = file.stat()
        match self.chance.randint(0, 5):
            case 0:
                file.unlink()
            case 1:  # another content of the same size and time
                file.write_bytes(bytes(255 - octet for octet in file.read_bytes()))
                os.utime(file, ns=(kept.st_atime_ns, kept.st_mtime_ns))
            case 2:
                file.rename(file.with_name("renamed " + file.name))
            case 3:
                file.write_bytes(b"longer " + file.read_bytes())
            case 4:
                os.link(file, file.with_name("linked " + file.name))
            case _:
                self._write(folder / "only in the copy.txt")

    def _write(self, file: Path) -> None:
        file.parent.mkdir(parents=True, exist_ok=True)
        content = EMPTY if self.chance.random() < 0.05 else self.chance.choice(CONTENTS)
        if not file.is_symlink():
            file.write_bytes(content)
            moment = 1_700_000_000 * 10**9 + self.chance.randint(0, 2) * 10**9
            os.utime(file, ns=(moment, moment))


def contents_below(folder: Path) -> Iterator[str]:
    """Digests of all files that are to be kept, told apart by nothing of the program."""
    for file in folder.rglob("*"):
        if file.is_file() and not file.is_symlink() and file.name != LITTER and not file.name.endswith(".cache"):
            yield hashlib.sha256(file.read_bytes()).hexdigest()


def one_estate(number: int, folder: Path, ledger: Ledger) -> tuple[Verdict, bool]:
    """Return the verdict on an estate, and whether nothing but a link that leads out of its volume stood in the way."""
    chance = random.Random(number)
    made = Made(root=folder / "estate", chance=chance, linking=random.Random(f"links {number}"))
    made.root.mkdir()
    estate = read_estate(made.declare())
    targets = made.leaving()
    asked = [path for name, path in made.volumes.items() if name in targets or name.partition(":")[0] in targets]
    wish = RetireWish(targets=targets, hash_all=chance.random() < 0.9, not_kept=(WORD,))
    work = folder / "work"
    work.mkdir()
    audits = InProcess(ledger=ledger, folder=work)
    if chance.random() < 0.15:
        audits.meddle = somebody_writes(chance, asked)
    found = run_retirement(estate, wish, audits.parts())
    if found.verdict is Verdict.CLEAR:
        nothing_is_lost(made, asked, number)
        what_remains_conforms(made, estate, found, folder)
    by_link = any("a link leads" in one.message for one in found.breaks)
    return found.verdict, by_link and not found.elsewhere.lone


def somebody_writes(chance: random.Random, volumes: list[Path]) -> Callable[[str], None]:
    calls = [0]
    when = chance.randint(1, 4)

    def meddle(_when: str) -> None:
        calls[0] += 1
        if calls[0] != when:
            return
        files = [
            file for path in volumes for file in sorted(path.rglob("*")) if file.is_file() and not file.is_symlink()
        ]
        if files and chance.random() < 0.5:
            file = chance.choice(files)
            kept = file.stat()
            file.write_bytes(bytes(octet ^ 1 for octet in file.read_bytes()))
            os.utime(file, ns=(kept.st_atime_ns, kept.st_mtime_ns))
        else:
            (chance.choice(volumes) / "arrived meanwhile.txt").write_bytes(chance.randbytes(50))

    return meddle


def nothing_is_lost(made: Made, asked: list[Path], number: int) -> None:
    held = {digest for path in asked for digest in contents_below(path)}
    for path in asked:
        shutil.rmtree(path)
    left = {digest for path in made.volumes.values() if path.exists() for digest in contents_below(path)}
    assert held <= left, f"estate {number}: {len(held - left)} contents are lost"


def what_remains_conforms(made: Made, estate: Estate, found: Retirement, folder: Path) -> None:
    """Declare what remains as the answer says, and audit it with a memory of nothing."""
    text = without(estate, found)
    file = made.root / "remaining.yaml"
    file.write_text(text, encoding="utf-8")
    remaining = read_estate(file)
    shutil.copytree(folder.parent / "blank", folder / "state")
    fresh = open_ledger(folder / "state", None)
    try:
        conclusions = audit(remaining, InProcess(ledger=fresh, folder=fresh.staging(now())))
    finally:
        fresh.close()
    for one in found.datasets:
        if one.touched:
            assert conclusions[one.dataset] is Conclusion.CONFORMING, one


def audit(estate: Estate, audits: InProcess) -> Mapping[DatasetId, Conclusion]:
    return {one.id: one.conclusion for one in run_audit(estate, (), audits.parts()).judged.datasets}


def without(estate: Estate, found: Retirement) -> str:
    """Write the estate file of what remains by hand, not by the program's own means."""
    gone = {str(volume) for volume in found.volumes}
    lines = [
        "estate: Saltreach Field Station",
        "time_zone: Europe/Dublin",
        "sites: {station: {}, barn: {}}",
        "devices:",
    ]
    for device in estate.devices:
        kept = [volume for volume in device.volumes if str(volume.key) not in gone]
        if kept:
            lines += [f"  {device.id}:", f"    site: {device.site}", "    access: local", "    volumes:"]
            lines += [f'      {volume.key.volume}: {{path: "{volume.path}", medium: hdd}}' for volume in kept]
    lines += ["policies:", "  one: {copies: 1, max_age: 26h}", "  two: {copies: 2, max_age: 26h}", "datasets:"]
    originals = {one.dataset: one.original for one in found.datasets}
    for dataset in estate.datasets:
        original = originals[dataset.id]
        places = [copy.address for copy in dataset.copies if copy.address != original]
        copies = ", ".join(f'{{at: "{place}"}}' for place in places if str(place.volume) not in gone)
        out = ', leave_out: ["*.part"]' if dataset.leave_out else ""
        lines.append(f'  {dataset.id}: {{policy: {dataset.policy}, original: "{original}", copies: [{copies}]{out}}}')
    return "\n".join(lines) + "\n"


class OneDatabase:
    """Gives each engine a connection of its own, with temporary tables of its own, to one database."""

    def __init__(self) -> None:
        self._database = duckdb.connect(":memory:", config={"threads": "1"})

    def connect(self, *_where: object, **_config: object) -> Any:
        """Return a connection whose settings are made already."""
        return Settled(self._database.cursor())


class Settled:
    """A connection that passes over settings: they are the database's."""

    def __init__(self, connection: Any) -> None:
        self._connection = connection

    def __getattr__(self, name: str) -> Any:
        return getattr(self._connection, name)

    def execute(self, sql: str, *more: Any) -> Any:
        """Run what is no setting; types are the database's, too."""
        if sql.startswith(("SET enable_", "SET lock_")):
            return None
        return self._connection.execute(sql.replace("CREATE TYPE ", "CREATE TYPE IF NOT EXISTS ", 1), *more)


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_what_is_clear_can_be_deleted_for_real_and_nothing_is_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("duckdb.connect", OneDatabase().connect)  # to start an engine takes longer than all else
    open_ledger(tmp_path / "blank", None).close()  # copied for each audit of what remains: to make one takes long
    ledger = open_ledger(tmp_path / "ledger", None)
    outcomes = []
    for number in range(FIRST, FIRST + TRIED):
        folder = tmp_path / f"{number}"
        folder.mkdir()
        try:
            outcomes.append(one_estate(number, folder, ledger))
        finally:
            shutil.rmtree(folder)
    ledger.close()
    verdicts = [verdict for verdict, _ in outcomes]
    tally = {verdict: verdicts.count(verdict) for verdict in Verdict}
    by_link = sum(decided for _, decided in outcomes)
    logging.getLogger(__name__).info("%s, %d of them by a link alone", tally, by_link)
    assert tally[Verdict.CLEAR] >= TRIED // 20, tally  # else it shows nothing
    assert tally[Verdict.NOT_CLEAR] >= TRIED // 20, tally
    assert by_link >= TRIED // 60, "without a link that decides, nothing shows that links are not followed"
