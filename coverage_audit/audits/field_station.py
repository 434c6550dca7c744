"""Build the made-up field station of the tour: real folders with files, their copies, and deliberate faults.

Everything is made of the moment `now` and fixed seeds, so that two tours look alike. Nothing outside the folder given
is touched.
"""

from __future__ import annotations

import os
import random
import shutil
from datetime import datetime, timedelta
from pathlib import Path

_LISTING: dict[str, tuple[tuple[str, int, int], ...]] = {
    "recordings": (
        ("{year}/dawn-chorus/take-{n:02}.wav", 40, 60_000),
        ("{year}/nightjars/take-{n:02}.wav", 24, 45_000),
    ),
    "survey-sheets": (("transects/{year}/sheet-{n:03}.csv", 60, 2_000),),
    "camera-trap": (("ride-{n}/{year}-{n:04}.jpg", 48, 30_000),),
    "herbarium": (("asteraceae/sheet-{n:03}.tif", 30, 80_000), ("orchidaceae/sheet-{n:03}.tif", 22, 80_000)),
    "accounts": (("books-{n}.db", 6, 20_000), ("receipts/{n:04}.pdf", 20, 9_000)),
    "weather": (("mast/{year}/day-{n:03}.log", 50, 1_500),),
    "site-plans": (("plans/sheet-{n:02}.svg", 12, 8_000),),
    "visitor-book": (("pages/page-{n:03}.png", 18, 25_000),),
}
"""What lies below each original: path pattern, how many, bytes each at the most."""

_POINT = "%Y-%m-%dT%H%M%SZ"


def build_station(folder: Path, now: datetime) -> None:
    """Make the station as it stood last night, everything in order but for the dated folders that stopped coming."""
    originals = folder / "kestrel" / "main"
    for name in _LISTING:
        _fill(originals / name, name, now)
    for place in ("heron/pool/mirror/recordings", "shelf-b/drive/recordings", "curlew/store/recordings"):
        _mirror(originals / "recordings", folder / place)
    _mirror(originals / "herbarium", folder / "curlew/store/herbarium")
    _mirror(originals / "accounts", folder / "curlew/store/accounts")
    _mirror(originals / "weather", folder / "heron/pool/mirror/weather")
    _mirror(originals / "visitor-book", folder / "heron/pool/mirror/visitor-book")
    for nights in (0, 1, 2, 6):
        _dated(
            originals / "survey-sheets", folder / "curlew/store/survey-sheets", now - timedelta(hours=2, days=nights)
        )
    for nights in (11, 12, 13, 40):
        _dated(originals / "camera-trap", folder / "curlew/store/camera-trap", now - timedelta(hours=2, days=nights))


def let_faults_happen(folder: Path, now: datetime) -> None:
    """Do to the station what happens to estates between two nights."""
    shutil.rmtree(folder / "curlew/store/herbarium/orchidaceae")
    altered = folder / "curlew/store/accounts/books-3.db"
    content = bytearray(altered.read_bytes())
    content[: len(content) // 2] = bytes(len(content) // 2)
    altered.write_bytes(content)
    _stamp(altered, now - timedelta(hours=5))
    shutil.rmtree(folder / "heron/pool/mirror/weather")
    note = folder / "kestrel/main/recordings/field-note.txt"
    note.write_text("Wind got up at four; recorders moved to the lee of the wall.\n", encoding="utf-8")
    _stamp(note, now - timedelta(minutes=20))


def _fill(root: Path, name: str, now: datetime) -> None:
    source = random.Random(f"saltreach {name}")  # noqa: S311 - material for a tour, not for a secret
    for pattern, count, most in _LISTING[name]:
        for number in range(count):
            age = timedelta(days=30 + number * 23, seconds=source.randrange(86_400))
            file = root / pattern.format(n=number, year=(now - age).year)
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(source.randbytes(source.randint(most // 4, most)))
            _stamp(file, now - age)


def _mirror(original: Path, copy: Path) -> None:
    copy.parent.mkdir(parents=True, exist_ok=True)
    shutil.copytree(original, copy, symlinks=True)


def _dated(original: Path, folder: Path, point: datetime) -> None:
    """Copy what the original held at that moment into a folder named by it."""

    def younger(directory: str, names: list[str]) -> list[str]:
        files = (Path(directory) / name for name in names)
        return [file.name for file in files if file.is_file() and file.stat().st_mtime > point.timestamp()]

    copy = folder / point.strftime(_POINT)
    copy.parent.mkdir(parents=True, exist_ok=True)
    shutil.copytree(original, copy, symlinks=True, ignore=younger)


def _stamp(file: Path, moment: datetime) -> None:
    os.utime(file, (moment.timestamp(), moment.timestamp()))
