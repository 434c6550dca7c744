"""Reading content, so that what leaves is seen to be held by what stays: first what is doubtful, all on request."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Final

from coverage_audit.audits.parts import Parts
from coverage_audit.audits.retirement import Reading
from coverage_audit.audits.retiring_memory import Memory, SpoiltFile
from coverage_audit.audits.retiring_trees import Trees
from coverage_audit.comparison.held_elsewhere import ALGORITHM, HeldElsewhere
from coverage_audit.comparison.held_terms import ToRead
from coverage_audit.estate.model import Address, Device, DeviceId, Estate, VolumeKey
from coverage_audit.evidence.content import HashedFiles, Wanted
from coverage_audit.evidence.facts import Gap

_AT_LEISURE: Final = timedelta(days=60)
"""How long all content may take that its owner asked to be read at once."""
_UNHINDERED: Final = 10**12
"""Bytes a second that nothing reaches."""
_MOST_NOTES: Final = 20


@dataclass
class Reader:
    """Reads what a question needs, and remembers it. `reached` is how each volume's device is asked now."""

    estate: Estate
    held: HeldElsewhere
    trees: Trees
    reached: Mapping[VolumeKey, Device]
    parts: Parts
    memory: Memory
    hash_all: bool
    _spent: dict[DeviceId, float] = field(default_factory=lambda: defaultdict(float))
    _read: dict[DeviceId, list[float]] = field(default_factory=lambda: defaultdict(lambda: [0.0, 0.0]))
    _silent: set[DeviceId] = field(default_factory=set)
    _files: int = 0
    _notes: dict[str, None] = field(default_factory=dict)
    _spoilt: dict[SpoiltFile, None] = field(default_factory=dict)

    def run(self) -> Reading:
        """Read in the order in which most is decided by least: what leaves, its likeliest counterparts, then others."""
        remembered = self._remember()
        for side, likely in (("mine", False), ("others", True), ("others", False)):
            for asked in self.held.to_read(side, listed_too=self.hash_all, likely=likely):
                self._ask(asked)
        octets, seconds = (sum(one[which] for one in self._read.values()) for which in (0, 1))
        return Reading(
            files=self._files,
            bytes=int(octets),
            seconds=seconds,
            remembered=remembered,
            notes=tuple(self._notes)[:_MOST_NOTES],
            left=self._left(),
            spoilt=tuple(self._spoilt),
        )

    def _remember(self) -> int:
        """Take the digests that the ledger keeps of files on these volumes, and that still stand."""
        found = 0
        for side, places in (("mine", self.trees.leaving_at), ("others", self.trees.staying_at)):
            for number, at in enumerate(places):
                if side == "mine" or self.held.staying[number].counts:
                    standing, notes = self.memory.recall(self.held, side, number, at.volume)
                    found += standing
                    for note in notes:
                        self._note(note)
        return found

    def _ask(self, asked: ToRead) -> None:
        address = (self.trees.leaving_at if asked.side == "mine" else self.trees.staying_at)[asked.tree]
        device = self.reached[address.volume]
        budget = self._budget(device)
        if device.id in self._silent or budget <= timedelta(0):
            return
        wanted = [
            Wanted(path=path, size=size, mtime_ns=mtime)
            for path, size, mtime in zip(asked.paths, asked.sizes, asked.mtimes, strict=True)
        ]
        rate = _UNHINDERED if self.hash_all else self.estate.limits.content_rate
        told = self.parts.hash_files(device, self._root(asked), wanted, algorithm=ALGORITHM, budget=budget, rate=rate)
        if isinstance(told, Gap):
            self._silent.add(device.id)
            self._note(f"The content of {address} could not be read: {told}")
            return
        self._take(asked, address, device, told)

    def _take(self, asked: ToRead, address: Address, device: Device, told: HashedFiles) -> None:
        other = self.held.take(asked, told.hashed)
        for spoilt in self.memory.keep(address, told.hashed):
            self._spoilt[spoilt] = None
            path = f"{spoilt.at}/{os.fsdecode(spoilt.path)}"
            self._note(f"{path} has another content than when it was read before, under the same figures.")
        self._files += len(told.hashed)
        self._spent[device.id] += told.seconds
        self._read[device.id][0] += told.bytes
        self._read[device.id][1] += told.seconds
        if other:
            self._note(f"{other} of the files of {address} changed since they were listed.")
        for one in told.not_hashed[:_MOST_NOTES]:
            self._note(f"{address}/{os.fsdecode(one.path)} was not read: {one.why}")
        if told.stopped is not None:
            self._silent.add(device.id)
            self._note(f"The content of {address} was not read to its end: {told.stopped}")

    def _root(self, asked: ToRead) -> str:
        tree = self.held.leaving[asked.tree] if asked.side == "mine" else self.held.staying[asked.tree].tree
        return tree.manifest.origin.root

    def _budget(self, device: Device) -> timedelta:
        if self.hash_all:
            return _AT_LEISURE
        return self.estate.limits.content_time - timedelta(seconds=self._spent[device.id])

    def _note(self, text: str) -> None:
        self._notes[text] = None

    def _left(self) -> timedelta | None:
        """Return how long the rest takes: each device reads its own, so the one with most to read decides."""
        octets = defaultdict[DeviceId, int](int)
        for leaves, tree, _, size in self.held.left_to_read():
            at = (self.trees.leaving_at if leaves else self.trees.staying_at)[tree]
            octets[at.volume.device] += size
        if not octets:
            return None
        return timedelta(seconds=max(size / self._rate(device) for device, size in octets.items()))

    def _rate(self, device: DeviceId) -> float:
        read, seconds = self._read[device]
        return read / seconds if seconds > 1 and read else float(self.estate.limits.content_rate)
