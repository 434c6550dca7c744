"""Where the auditor's own ledger, estate file and keys lie on this machine.

Nothing is opened but the SSH configuration; of a folder one name is looked at.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.access import SshAccess
from coverage_audit.estate.model import Estate
from coverage_audit.evidence.own import OwnPart, OwnPlace, OwnPlaces

_SQLITE_COPY = re.compile(r"ledger\.db")
_SERVER_COPY = re.compile(r"ledger\.(sql|dump)(\.\w+)?")
_SYSTEM = Path("/etc/ssh")  # holds files of the machine, not of the auditor


def own_places(estate: Estate, *, database: Path | None, dump: Path, needed: tuple[Path, ...]) -> OwnPlaces:
    """Return all that is the auditor's own and that exists.

    `database` is the ledger's file (None: a server keeps it), `dump` the folder for copies of it, `needed` what else
    the ledger needs. Raises nothing: what cannot be looked at is named as if it were there.
    """
    places = [_place(OwnPart.LEDGER, path) for path in needed]
    if estate.file:
        places.append(_place(OwnPart.ESTATE, Path(estate.file)))
    places += [_place(OwnPart.KEYS, path) for path in dict.fromkeys(_keys(estate))]
    return OwnPlaces(
        places=tuple(places),
        database=None if database is None else _place(OwnPart.LEDGER, database),
        dump=_place(OwnPart.LEDGER, dump),
        dumped=_made(dump, _SQLITE_COPY if database is not None else _SERVER_COPY),
    )


def _place(part: OwnPart, path: Path) -> OwnPlace:
    real = os.path.realpath(path)
    is_folder = Path(real).is_dir()
    return OwnPlace(part=part, path=real, is_folder=is_folder, inside=_one_in(real) if is_folder else None)


def _one_in(folder: str) -> str | None:
    try:
        with os.scandir(folder) as entries:
            return next((entry.name for entry in entries if entry.is_file(follow_symlinks=False)), None)
    except OSError:
        return None


def _made(folder: Path, name: re.Pattern[str]) -> datetime | None:
    """Return when the newest copy of the database was written, None where there is none that holds anything.

    By its name: the log of a copy that failed, beside it, is newer than what it tells of.
    """
    try:
        with os.scandir(folder) as entries:
            copies = [entry for entry in entries if name.fullmatch(entry.name)]
            seen = [entry.stat(follow_symlinks=False) for entry in copies if entry.is_file(follow_symlinks=False)]
    except OSError:
        return None
    newest = max((one.st_mtime for one in seen if one.st_size), default=None)
    return None if newest is None else datetime.fromtimestamp(newest, UTC)


def _keys(estate: Estate) -> Iterator[Path]:
    for device in estate.devices:
        if isinstance(device.access, SshAccess):
            for path in _files_of(device.access):
                if path.exists() and not path.is_relative_to(_SYSTEM):
                    yield path


def _files_of(access: SshAccess) -> Iterator[Path]:
    """Return the key files and the files of known hosts on the way to a box."""
    # Only here: importing it takes a fifth of a second, which an estate without SSH need not pay.
    from coverage_audit.collectors.transports.ssh import files_used  # noqa: PLC0415 - see the line above

    try:
        yield from files_used(access)
    except TransportError:  # its configuration cannot be read: the box is a gap of this audit, said there
        yield from (Path(one).expanduser() for one in (access.identity_file, access.known_hosts) if one is not None)
