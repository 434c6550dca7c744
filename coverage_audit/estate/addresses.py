"""Where things are: addresses (`device:volume/path`), volumes (`device:volume`), hosts, paths, ids.

Each function reads one piece of text and raises ValueError with a message for the owner. What is spelled in
several ways for one place (a slash at the end, a doubled one, a `.`) comes out in one.
"""

from __future__ import annotations

import difflib
import ipaddress
import re
import unicodedata
from dataclasses import dataclass
from typing import Final

from coverage_audit.estate.mistakes import shown
from coverage_audit.estate.model import POINT, Address, DeviceId, VolumeId, VolumeKey

ID_PATTERN: Final = r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$"
"""What an id may be: it goes into commands, file names and finding ids as it stands."""

_ID: Final = re.compile(ID_PATTERN[1:-1])
_USER: Final = re.compile(r"[A-Za-z0-9_.][A-Za-z0-9_.+-]{0,63}")
_HOST: Final = re.compile(r"[A-Za-z0-9_](?:[A-Za-z0-9._-]{0,252}[A-Za-z0-9_])?\.?")
_SSH: Final = re.compile(r"(?:(?P<user>[^@]*)@)?(?:\[(?P<six>[^\[\]]*)\]|(?P<host>[^:\[\]]*))(?::(?P<port>[^:]*))?")

_ADDRESS_MEND: Final = "write device:volume/path"


@dataclass(frozen=True, kw_only=True)
class SshTarget:
    """The machine that `ssh:` names; what is unset comes from `~/.ssh/config`."""

    host: str
    user: str | None = None
    port: int | None = None


def check_id(text: str) -> str:
    """Return the id as it is, if it is safe everywhere."""
    if not _ID.fullmatch(text):
        raise ValueError(f"{shown(text)} is no id (letters a-z, digits, '-', '_' and '.', a letter or digit first)")
    return text


def parse_volume_key(text: str) -> VolumeKey:
    """Read `device:volume`."""
    device, colon, volume = text.partition(":")
    if not (colon and _ID.fullmatch(device) and _ID.fullmatch(volume)):
        raise ValueError(f"{shown(text)} is no volume (write device:volume)")
    return VolumeKey(device=DeviceId(device), volume=VolumeId(volume))


def parse_address(text: str) -> Address:
    """Read `device:volume/path`; the path comes out without doubled slashes, `.` and a slash at the end."""
    head, slash, path = text.partition("/")
    device, colon, volume = head.partition(":")
    if not (colon and _ID.fullmatch(device) and _ID.fullmatch(volume)):
        raise ValueError(f"{shown(text)} is no address ({_ADDRESS_MEND})")
    if slash and path.startswith("/"):
        raise ValueError(f"{shown(text)} holds an absolute path (the path is that below the volume: {_ADDRESS_MEND})")
    _refuse_control(path)
    parts = [part for part in path.split("/") if part not in {"", "."}]
    if ".." in parts:
        raise ValueError(f"{shown(text)} leaves its volume by '..' ({_ADDRESS_MEND})")
    _check_point(parts)
    key = VolumeKey(device=DeviceId(device), volume=VolumeId(volume))
    return Address(volume=key, path="/".join(parts))


def _check_point(parts: list[str]) -> None:
    if parts.count(POINT) > 1:
        raise ValueError(f"{POINT} stands twice in one address (one part of the path is the recovery point)")
    for part in parts:
        if part != POINT and POINT in part:
            raise ValueError(
                f"{POINT} must be a whole part of the path (put {shown(part)} into the pattern of 'points')"
            )
        if part != POINT and part.startswith("{") and difflib.get_close_matches(part, [POINT], cutoff=0.6):
            raise ValueError(f"{shown(part)} is unknown (did you mean {POINT}?)")


def parse_volume_path(text: str) -> str:
    """Read the absolute path of a volume on its device."""
    _refuse_control(text)
    if not text.startswith("/"):
        raise ValueError(f"the path {shown(text)} is not absolute (begin with '/')")
    parts = [part for part in text.split("/") if part not in {"", "."}]
    if ".." in parts:
        raise ValueError(f"the path {shown(text)} holds '..' (write where it leads)")
    return "/" + "/".join(parts)


def parse_own_path(text: str) -> str:
    """Read the path of a file on the auditor's machine: absolute, or below the home folder (`~/`)."""
    _refuse_control(text)
    if "://" in text:
        raise ValueError(
            "an address stands where a file is wanted (write it into a file of its own, name the file here)"
        )
    if not text.startswith(("/", "~/")):
        raise ValueError(f"the path {shown(text)} is relative (begin with '/' or '~/')")
    if text.endswith("/"):
        raise ValueError(f"{shown(text)} is a folder (name a file in it)")
    return text


def _refuse_control(path: str) -> None:
    for letter in path:
        if unicodedata.category(letter) in {"Cc", "Cs"}:
            raise ValueError(f"the path holds the control character {ascii(letter)[1:-1]} (a declared path has none)")


def parse_ssh_target(text: str) -> SshTarget:
    """Read `user@host:port`; an IPv6 address stands in brackets (`[2001:db8::7]:22`)."""
    found = _SSH.fullmatch(text)
    if found is None:
        if text.count(":") > 1:
            raise ValueError("is no host (an IPv6 address stands in brackets: user@[2001:db8::7]:22)")
        raise ValueError(f"{shown(text)} is no host (write user@host or user@host:port)")
    user, six, host, port = found.group("user", "six", "host", "port")
    if user is not None and ":" in user:
        raise ValueError("a password must not stand here (use a key: identity_file, or the agent)")
    if user is not None and not _USER.fullmatch(user):
        raise ValueError(f"{shown(user)} is no user name (write user@host or user@host:port)")
    return SshTarget(host=_six(six) if six is not None else _host(host), user=user, port=_port(port))


def _six(text: str) -> str:
    address, percent, scope = text.partition("%")
    try:
        shortest = ipaddress.IPv6Address(address).compressed
    except ValueError:
        raise ValueError(f"{shown(text)} is no IPv6 address (write e.g. [2001:db8::7])") from None
    if percent and not _ID.fullmatch(scope):
        raise ValueError(f"{shown(scope)} is no network interface (write e.g. [fe80::7%eth0])")
    return f"{shortest}{percent}{scope}"


def _host(text: str) -> str:
    if not _HOST.fullmatch(text):
        raise ValueError(f"{shown(text)} is no host name (write user@host or user@host:port)")
    if re.fullmatch(r"[0-9.]+", text):
        try:
            ipaddress.IPv4Address(text)
        except ValueError:
            raise ValueError(f"{shown(text)} is no IPv4 address (write e.g. 192.0.2.7)") from None
    return text


def _port(text: str | None) -> int | None:
    if text is None:
        return None
    if not re.fullmatch(r"[0-9]{1,5}", text) or not 1 <= int(text) <= 65535:
        raise ValueError(f"{shown(text)} is no port (a number from 1 to 65535)")
    return int(text)
