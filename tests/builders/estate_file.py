"""A small estate file, whole and right, and ways to spoil it in one place."""

from __future__ import annotations

from pathlib import Path

from coverage_audit.errors import EstateError
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import read_estate

SMALL = """\
estate: Saltreach Field Station
time_zone: Europe/Dublin
sites:
  station: {name: Field station}
  barn: {}
devices:
  kestrel:
    site: station
    access: {ssh: auditor@kestrel.example}
    volumes:
      main: {path: /srv/main, medium: hdd}
  heron:
    site: barn
    access: {ssh: auditor@heron.example}
    volumes:
      pool: {path: /srv/pool, medium: hdd}
policies:
  plain: {copies: 2, max_age: 26h}
datasets:
  survey-sheets:
    policy: plain
    original: kestrel:main/sheets
    copies:
      - at: heron:pool/sheets
"""


def spoiled(old: str, new: str) -> str:
    """Return the small estate with one piece exchanged; the piece must be there."""
    assert old in SMALL
    return SMALL.replace(old, new, 1)


def read(folder: Path, text: str) -> Estate:
    """Write the text as an estate file and read it."""
    file = folder / "estate.yaml"
    file.write_text(text, encoding="utf-8")
    return read_estate(file)


def mistakes(folder: Path, text: str) -> list[str]:
    """Return the mistakes of a text, each as "LINE:COLUMN: message"; the file must have some."""
    try:
        estate = read(folder, text)
    except EstateError as error:
        head = f"{folder / 'estate.yaml'}:"
        lines = str(error).split("\n")
        assert all(line.startswith(head) for line in lines)
        return [line.removeprefix(head).removeprefix(" ") for line in lines]
    raise AssertionError(f"no mistake was found in the estate {estate.name}")
