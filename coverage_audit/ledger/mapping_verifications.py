"""Verifications as JSON and back; paths and digests are hex, as they are bytes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any

from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.verified import Course, Harm, Round, Sampled, Spoilt, Verification, WholeReading

Stored = Mapping[str, Any]


def store_verification(known: Verification) -> Stored:
    """Return the stored form."""
    return {
        "last": None if known.last is None else _plain(known.last),
        "held": None if known.held is None else _store_round(known.held),
        "running": None if known.running is None else _plain(known.running),
        "round": None if known.round is None else _store_round(known.round),
        "whole": None if known.whole is None else _plain(known.whole),
        "course": None if known.course is None else [known.course.seed.hex(), known.course.rank],
        "spoilt": [_store_spoilt(one) for one in known.spoilt],
        "more": known.more,
    }


def load_verification(stored: Stored) -> Verification:
    """Return the value of a stored form."""
    last, running, whole, course = (stored[name] for name in ("last", "running", "whole", "course"))
    held = stored.get("held")  # an older ledger has none
    return Verification(
        last=None if last is None else Sampled(**_values(last)),
        held=None if held is None else _load_round(held),
        running=None if running is None else Sampled(**_values(running)),
        round=None if stored["round"] is None else _load_round(stored["round"]),
        whole=None if whole is None else WholeReading(**_values(whole)),
        course=None if course is None else Course(seed=bytes.fromhex(course[0]), rank=course[1]),
        spoilt=tuple(_load_spoilt(one) for one in stored["spoilt"]),
        more=stored["more"],
    )


def _plain(value: Sampled | WholeReading) -> Stored:
    """Return figures by name: instants as text, tallies as pairs."""
    return {part.name: _one(getattr(value, part.name)) for part in fields(value)}


def _one(value: object) -> object:
    if isinstance(value, datetime):
        return {"at": value.isoformat()}
    return [value.files, value.bytes] if isinstance(value, Tally) else value


def _values(stored: Stored) -> Mapping[str, Any]:
    return {name: _read(value) for name, value in stored.items()}


def _read(value: Any) -> Any:
    if isinstance(value, dict):
        return datetime.fromisoformat(value["at"])
    return Tally(files=value[0], bytes=value[1]) if isinstance(value, list) else value


def _store_round(of: Round) -> Stored:
    paths = {name: sorted(path.hex() for path in getattr(of, name)) for name in ("differing", "not_shown")}
    return {"seed": of.seed.hex(), **paths}


def _load_round(stored: Stored) -> Round:
    differing, not_shown = (frozenset(map(bytes.fromhex, stored[name])) for name in ("differing", "not_shown"))
    return Round(seed=bytes.fromhex(stored["seed"]), differing=differing, not_shown=not_shown)


def _store_spoilt(one: Spoilt) -> Stored:
    return {
        "path": one.path.hex(),
        "harm": one.harm.value,
        "size": one.size,
        "mtime_ns": one.mtime_ns,
        "digest": one.digest.hex(),
        "wanted": one.wanted.hex(),
        "at": one.at.isoformat(),
        "held_by": [[at.volume.device, at.volume.volume, at.path] for at in one.held_by],
    }


def _load_spoilt(stored: Stored) -> Spoilt:
    return Spoilt(
        path=bytes.fromhex(stored["path"]),
        harm=Harm(stored["harm"]),
        size=stored["size"],
        mtime_ns=stored["mtime_ns"],
        digest=bytes.fromhex(stored["digest"]),
        wanted=bytes.fromhex(stored["wanted"]),
        at=datetime.fromisoformat(stored["at"]),
        held_by=tuple(
            Address(volume=VolumeKey(device=DeviceId(device), volume=VolumeId(volume)), path=path)
            for device, volume, path in stored["held_by"]
        ),
    )
