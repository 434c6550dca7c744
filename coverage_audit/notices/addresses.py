"""Where a notice goes: read from a file, the environment or a service credential, never from the estate.

An address holds passwords and tokens. It is returned and never shown: no message of an error repeats it.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from pathlib import Path

from coverage_audit.errors import NoticeError
from coverage_audit.estate.model import Estate, Kept

_MOST_BYTES = 16_384


def resolve(target: Kept, environment: Mapping[str, str]) -> str:
    """Return the address of a target. Raises NoticeError, naming the target and the place but not the address."""
    sources = [place for place in (target.url_file, target.url_env, target.url_credential) if place is not None]
    if len(sources) != 1:
        raise NoticeError(f"{target.whose}: give one of url_file, url_env and url_credential")
    if target.url_file is not None:
        return _one_line(target, _from_file(target, _home(target, target.url_file, environment), private=True))
    if target.url_env is not None:
        return _one_line(target, _from_environment(target, target.url_env, environment))
    return _one_line(target, _from_file(target, _credential(target, environment), private=False))


def variables_of(estate: Estate) -> frozenset[str]:
    """Return the names of the variables of the environment that hold an estate's addresses."""
    kept = (*estate.notices, *([estate.alive] if estate.alive is not None else []))
    return frozenset(one.url_env for one in kept if one.url_env is not None)


def _home(target: Kept, file: str, environment: Mapping[str, str]) -> Path:
    home = environment.get("HOME")
    try:
        return Path(home, file[2:]) if home and file.startswith("~/") else Path(file).expanduser()
    except RuntimeError:  # an account without a home
        raise NoticeError(f"{target.whose}: {file} cannot be found: this account has no home") from None


def _credential(target: Kept, environment: Mapping[str, str]) -> Path:
    """Return the credential's file in the folder that the service manager made (systemd.exec, Credentials)."""
    folder = environment.get("CREDENTIALS_DIRECTORY")
    name = target.url_credential or ""
    if not folder:
        raise NoticeError(f"{target.whose}: there are no service credentials (CREDENTIALS_DIRECTORY)")
    if "/" in name or name in {"", ".", ".."}:
        raise NoticeError(f"{target.whose}: a credential is named by one plain name")
    return Path(folder, name)


def _from_environment(target: Kept, name: str, environment: Mapping[str, str]) -> str:
    if not environment.get(name):
        raise NoticeError(f"{target.whose}: the environment has no {name}")
    return environment[name]


def _from_file(target: Kept, file: Path, *, private: bool) -> str:
    """Read an address file; `private` demands that only its owner may read or write it.

    (A service manager guards its credentials by the folder, and their modes may show an access list's mask.)
    """
    try:
        descriptor = os.open(file, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError as error:
        raise NoticeError(f"{target.whose}: cannot read {file}: {error.strerror}") from None
    try:
        _refuse_others(target, file, os.fstat(descriptor).st_mode, private=private)
        content = os.read(descriptor, _MOST_BYTES + 1)
    finally:
        os.close(descriptor)
    if len(content) > _MOST_BYTES:
        raise NoticeError(f"{target.whose}: {file} is too long to be an address")
    return content.decode("utf-8", "replace")


def _refuse_others(target: Kept, file: Path, mode: int, *, private: bool) -> None:
    if not stat.S_ISREG(mode):
        raise NoticeError(f"{target.whose}: {file} is no regular file")
    if private and mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise NoticeError(f"{target.whose}: others on this machine may read or change {file}; run: chmod 600 {file}")


def _one_line(target: Kept, content: str) -> str:
    """Return the one address in a text; lines that begin with `#` are remarks."""
    lines = [line.strip() for line in content.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if len(lines) != 1:
        raise NoticeError(f"{target.whose}: its place holds {len(lines)} addresses, not one")
    if not lines[0].isprintable() or " " in lines[0]:
        raise NoticeError(f"{target.whose}: its address holds a space or a character that does not print")
    return lines[0]
