"""What a box shows of itself: who it is, whether it is a guest, its addresses, its clock and its zone.

Everything is read from files that an unprivileged account can read; what is not shown stays None.
"""

from __future__ import annotations

import ipaddress
import re
from datetime import datetime, timedelta
from fractions import Fraction
from math import ceil
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from coverage_audit.collectors.framing import fields, pairs, shown
from coverage_audit.collectors.guest_signs import shows_itself_guest
from coverage_audit.collectors.requests import Request
from coverage_audit.estate.model import DeviceId
from coverage_audit.evidence.facts import DeviceFacts

_MACHINE_ID: Final = re.compile(r"[0-9a-f]{32}")  # machine-id(5): 32 lower-case hexadecimal digits
_BOOT_ID: Final = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_CLOCK: Final = re.compile(r"(\d{1,11})(?:\.(\d{9}))?(?:\.(?:%?N)?)?")
_LOCAL_ROUTE: Final = re.compile(r"\|-- ([0-9.]+)\s+/32 host LOCAL")
_ZONE: Final = re.compile(r"/zoneinfo/(?:posix/|right/)?([A-Za-z0-9_+\-/]+)$")


def request(nonce: str) -> Request:
    """Return the request for the facts."""
    return Request(verb="about", nonce=nonce)


def parse(  # noqa: PLR0913 - who was asked, over what and when belongs to every fact
    reply: bytes,
    exit_status: int | None,
    *,
    nonce: str,
    device: DeviceId,
    over: str,
    sent: datetime,
    received: datetime,
    host_key: str | None = None,
) -> DeviceFacts:
    """Read the answer. `sent` and `received` are the auditor's clock just before and after the question.

    Raises TransportError where the answer is cut, malformed or was never given.
    """
    said = dict(pairs(fields(reply, exit_status, nonce)))
    offset = clock_offset(shown(said.get("clock_first")), shown(said.get("clock_last")), sent, received)
    machine_id = shown(said.get("machine_id")) or shown(said.get("machine_id_dbus")) or ""
    boot_id = shown(said.get("boot_id")) or ""
    return DeviceFacts(
        device=device,
        at=received,
        over=over,
        machine_id=machine_id if _MACHINE_ID.fullmatch(machine_id) and int(machine_id, 16) else None,
        boot_id=boot_id if _BOOT_ID.fullmatch(boot_id) else None,
        host_key=host_key,
        is_guest=shows_itself_guest({name: shown(value) or "" for name, value in said.items()}),
        own_addresses=_own_addresses(said),
        clock_offset=offset[0] if offset else None,
        clock_uncertainty=offset[1] if offset else None,
        time_zone=_time_zone(said),
    )


def clock_offset(
    first: str | None, last: str | None, sent: datetime, received: datetime
) -> tuple[timedelta, timedelta] | None:
    """Return the box's clock minus the auditor's, and how exactly that is known; None where not shown.

    The four instants are those of RFC 5905 section 8: theta = ((T2 - T1) + (T3 - T4)) / 2, known to
    half of delta = (T4 - T1) - (T3 - T2). A clock that shows whole seconds is taken to stand half-way through
    its second, and delta grows by that second.
    A negative delta means that a clock jumped while it was asked: then nothing is known.
    """
    begun, ended = _instant(first), _instant(last)
    if begun is None or ended is None:
        return None
    (t2, step), (t3, _) = begun, ended
    t1, t4 = _seconds(sent), _seconds(received)
    delta = (t4 - t1) - (t3 - t2) + step
    if delta < 0 or t3 < t2:
        return None
    theta = ((t2 - t1) + (t3 - t4) + step) / 2
    return timedelta(microseconds=round(theta * 10**6)), timedelta(microseconds=ceil(delta * 10**6 / 2))


def _instant(text: str | None) -> tuple[Fraction, Fraction] | None:
    found = _CLOCK.fullmatch(text or "")
    if not found:
        return None
    whole, nanoseconds = found.groups()
    if nanoseconds is None:
        return Fraction(int(whole)), Fraction(1)
    return Fraction(int(whole)) + Fraction(int(nanoseconds), 10**9), Fraction(0)


def _seconds(instant: datetime) -> Fraction:
    whole = int(instant.replace(microsecond=0).timestamp())
    return Fraction(whole) + Fraction(instant.microsecond, 10**6)


def _own_addresses(said: dict[str, bytes]) -> frozenset[str]:
    """Host names and addresses, without those that every box has (loopback, link-local)."""
    words = _LOCAL_ROUTE.findall(said.get("fib_trie", b"").decode("ascii", "replace"))
    words += (shown(said.get("addresses")) or "").split()
    words += [line.split()[0] for line in said.get("if_inet6", b"").decode("ascii", "replace").splitlines() if line]
    names = {shown(said.get("node")), shown(said.get("hostname"))} - {None, "localhost", "(none)"}
    return frozenset(filter(None, map(_address, words))) | frozenset(name for name in names if name)


def _address(word: str) -> str | None:
    try:
        bare = int(word, 16).to_bytes(16) if re.fullmatch(r"[0-9a-f]{32}", word) else word
        address = ipaddress.ip_address(bare)
    except ValueError:
        return None
    return None if address.is_loopback or address.is_link_local or address.is_unspecified else str(address)


def _time_zone(said: dict[str, bytes]) -> str | None:
    """Return the IANA name: of the link /etc/localtime, else of /etc/timezone (the link wins over the file)."""
    links = (shown(said.get(name)) or "" for name in ("zone_link", "zone_file"))
    found = [match.group(1) for match in map(_ZONE.search, links) if match]
    for name in (*found, shown(said.get("zone_name")) or ""):
        if name and _is_zone(name):
            return name
    return None


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True
