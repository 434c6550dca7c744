"""Where the files are that ship with the program.

They are `config/` and `sample_config/` of a checkout, or their copies inside an installed package.
"""

from __future__ import annotations

from pathlib import Path

from coverage_audit.errors import EstateError

_PACKAGE = Path(__file__).resolve().parent.parent


def defaults_folder() -> Path:
    """Return the folder of the shipped defaults (`limits.yaml`, `estate.schema.json`).

    Raises EstateError where the installation lost it.
    """
    return _first_folder(_PACKAGE / "defaults", _PACKAGE.parent / "config", holding="limits.yaml")


def sample_folder() -> Path:
    """Return the folder of the invented estate (`estate.yaml`).

    Raises EstateError where the installation lost it.
    """
    return _first_folder(_PACKAGE / "sample_config", _PACKAGE.parent / "sample_config", holding="estate.yaml")


def _first_folder(*folders: Path, holding: str) -> Path:
    for folder in folders:
        if (folder / holding).is_file():
            return folder
    raise EstateError(f"{folders[0]}: {holding} is not there (the installation is not whole: install it again)")
