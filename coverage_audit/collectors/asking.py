"""One question put to one device: the device itself, its volumes, its trees, its recovery points.

Each part is said as soon as it is known, so that what was seen before a box fell silent is kept. Each failure
costs its own subject, and what comes after it is still asked: of a lost connection it learns that at once.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from functools import partial
from typing import TypeVar

from coverage_audit.collectors.asking_points import PointQuestion, points_of, zone_of
from coverage_audit.collectors.assembling import point_to_walk
from coverage_audit.collectors.digesting import digested
from coverage_audit.collectors.errands import SeenDevice, SeenVolume, Walk, Word
from coverage_audit.collectors.packets import Packets
from coverage_audit.collectors.point_names import folder_of
from coverage_audit.collectors.readers import device_facts, filesystems, sftp_tree, volume_facts
from coverage_audit.collectors.real_places import require_on_its_volume
from coverage_audit.collectors.replies import Reply, reply_to
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import Transport, TransportError
from coverage_audit.collectors.walking import Place, walk
from coverage_audit.collectors.ways import Ways
from coverage_audit.errors import EvidenceError
from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.model import Address, Copy, Volume, VolumeKey
from coverage_audit.estate.sources import BtrfsPoints, DatedFiles, DatedFolders
from coverage_audit.evidence.collected import SeenPoints, SeenTree
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, PointList, VolumeFacts
from coverage_audit.evidence.manifest import Blind, Manifest
from coverage_audit.evidence.progress import Progress

_T = TypeVar("_T")


def ask(errand: Walk, transport: Transport, progress: Progress) -> Iterator[Word]:
    """Put the question and give each part of the answer as it comes."""
    return _Asking(errand, transport, progress).parts()


class _Asking:
    def __init__(self, errand: Walk, transport: Transport, progress: Progress) -> None:
        self._errand = errand
        self._question = errand.question
        self._transport = transport
        self._progress = progress
        self._ways = Ways(transport, self._soon)
        self._device: DeviceFacts | Gap | None = None
        self._volumes: dict[VolumeKey, VolumeFacts | Gap] = {}
        self._entered: dict[VolumeKey, bytes] = {}

    def parts(self) -> Iterator[Word]:
        """Give the device's facts, the volumes', then trees and points: those of healthy volumes first."""
        self._device = self._or_gap(self._question.device.id, self._device_facts)
        yield SeenDevice(outcome=self._device)
        for volume in self._question.volumes:
            facts = self._or_gap(volume.key, partial(self._volume_facts, volume))
            self._volumes[volume.key] = facts
            yield SeenVolume(volume=volume.key, outcome=facts)
        for address in sorted(self._question.trees, key=self._is_doubtful):
            yield self._seen(address)
        for copy in sorted(self._question.pointed, key=lambda copy: self._is_doubtful(copy.address)):
            yield from self._pointed(copy)
        for address in sorted(self._question.surveyed, key=self._is_doubtful):
            if address in self._question.trees:
                continue
            yield SeenTree(address=address, outcome=self._or_gap(address, partial(self._tree, address)))

    def _or_gap(self, subject: object, observe: Callable[[], _T]) -> _T | Gap:
        try:
            return observe()
        except TransportError as error:
            return self._gap(subject, error.kind, error.detail)
        except (EvidenceError, OSError) as error:
            return self._gap(subject, GapKind.STORAGE, str(error))
        except Exception as error:  # noqa: BLE001 - one part's surprise costs that part alone, and says so
            return self._gap(subject, GapKind.MALFORMED, f"the auditor itself failed: {type(error).__name__}: {error}")

    def _gap(self, subject: object, kind: GapKind, detail: str) -> Gap:
        return Gap(subject=str(subject), kind=kind, detail=detail, at=self._errand.clock.now())

    def _device_facts(self) -> DeviceFacts:
        return self._ways.or_by_files(self._device_facts_of_gate, self._device_facts_of_files)

    def _device_facts_of_files(self, packets: Packets) -> DeviceFacts:
        now = self._errand.clock.now()
        return sftp_tree.box_facts(packets, self._question.device.id, self._transport.host_key, now)

    def _device_facts_of_gate(self) -> DeviceFacts:
        nonce = secrets.token_hex(16)
        sent = self._errand.clock.now()
        reply = self._reply(device_facts.request(nonce))
        facts = device_facts.parse(
            reply.text,
            reply.exit_status,
            nonce=nonce,
            device=self._question.device.id,
            over="local" if self._is_local else "ssh",
            sent=sent,
            received=self._errand.clock.now(),
            host_key=self._transport.host_key,
        )
        facts = self._with_filesystems(facts)
        if self._is_local:  # the auditor's own clock: it cannot disagree with itself
            return replace(facts, clock_offset=timedelta(0), clock_uncertainty=timedelta(0))
        return facts

    def _with_filesystems(self, facts: DeviceFacts) -> DeviceFacts:
        """Add the mounted filesystems; where they cannot be listed, the other facts stand and say so."""
        nonce = secrets.token_hex(16)
        try:
            reply = self._reply(filesystems.request(nonce))
            return replace(facts, filesystems=filesystems.parse(reply.text, reply.exit_status, nonce=nonce))
        except TransportError as error:
            return replace(facts, filesystems_unseen=error.detail)

    def _volume_facts(self, volume: Volume) -> VolumeFacts:
        def by_files(packets: Packets) -> VolumeFacts:
            facts = sftp_tree.room_facts(packets, volume.key, volume.path, self._errand.clock.now())
            with self._ways.open_sftp(self._soon()) as more:
                self._entered[volume.key] = sftp_tree.real_path(more, volume.path)
            return facts

        return self._ways.or_by_files(partial(self._volume_facts_of_gate, volume), by_files)

    def _volume_facts_of_gate(self, volume: Volume) -> VolumeFacts:
        nonce = secrets.token_hex(16)
        reply = self._reply(volume_facts.request(volume.path, nonce))
        self._entered[volume.key] = volume_facts.entered(reply.text, reply.exit_status, nonce=nonce, path=volume.path)
        return volume_facts.parse(
            reply.text,
            reply.exit_status,
            nonce=nonce,
            volume=volume.key,
            path=volume.path,
            at=self._errand.clock.now(),
        )

    def _tree(self, address: Address) -> Manifest:
        facts = self._volumes.get(address.volume)
        if isinstance(facts, Gap) and facts.kind is GapKind.MISSING:
            raise TransportError(GapKind.MISSING, facts.detail)
        clock_offset = self._device.clock_offset if isinstance(self._device, DeviceFacts) else None
        place = Place(
            address=address,
            root=self._path(address),
            clock_offset=clock_offset,
            volume=facts if isinstance(facts, VolumeFacts) else None,
            entered=self._entered,
        )
        manifest = walk(self._errand, place, self._transport, self._ways, self._progress)
        if isinstance(facts, VolumeFacts):
            self._still_there(facts)
        return manifest

    def _seen(self, address: Address, point_of: Address | None = None) -> SeenTree:
        """Walk a tree, and read its files where that is asked for: digests only of what was walked whole."""
        outcome = self._or_gap(address, partial(self._tree, address))
        undigested: tuple[Blind, ...] = ()
        if self._question.digest is not None and not isinstance(outcome, Gap):
            read = partial(digested, self._errand, outcome, self._question.digest, self._transport, self._ways)
            told = self._or_gap(address, read)
            outcome, undigested = (told, ()) if isinstance(told, Gap) else told
        return SeenTree(address=address, outcome=outcome, point_of=point_of, undigested=undigested)

    def _still_there(self, before: VolumeFacts) -> None:
        """Look at the volume once more: what was walked counts only if the same was mounted before and after."""
        volume = next(volume for volume in self._question.volumes if volume.key == before.volume)
        entered = self._entered.get(volume.key)
        after = self._volume_facts(volume)
        if after.mounted != before.mounted or self._entered.get(volume.key) != entered:
            raise TransportError(GapKind.ANOTHER_VOLUME, "another volume was mounted while it was walked")

    def _pointed(self, copy: Copy) -> Iterator[Word]:
        listed = self._or_gap(copy.address, partial(self._points, copy))
        yield SeenPoints(address=copy.address, outcome=listed)
        newest = point_to_walk(self._question, copy, listed)
        if newest is not None:
            yield self._seen(newest, copy.address)

    def _points(self, copy: Copy) -> PointList:
        facts = self._volumes.get(copy.address.volume)
        if isinstance(facts, Gap) and facts.kind is GapKind.MISSING:
            raise TransportError(GapKind.MISSING, facts.detail)
        if isinstance(facts, VolumeFacts) and isinstance(copy.points, (DatedFolders, DatedFiles, BtrfsPoints)):
            self._require_points_there(copy)
        shown = self._device.time_zone if isinstance(self._device, DeviceFacts) else None
        found = points_of(
            PointQuestion(
                copy=copy,
                path=self._path(copy.address),
                volume=self._path(replace(copy.address, path="")),
                zone=zone_of(self._question.device, shown, self._question.estate_zone),
                put=self._reply,
                now=self._errand.clock.now,
            )
        )
        if copy.is_opaque and isinstance(facts, VolumeFacts):
            self._still_there(facts)
        return found

    def _require_points_there(self, copy: Copy) -> None:
        """Enter the folder that holds the points: it must lie on the copy's volume, as the root of a tree must."""
        folder, nonce = folder_of(self._path(copy.address)), secrets.token_hex(16)
        reply = self._reply(volume_facts.request(folder, nonce))
        real = volume_facts.entered(reply.text, reply.exit_status, nonce=nonce, path=folder)
        require_on_its_volume(replace(copy.address, path=folder_of(copy.address.path)), real, self._entered)

    def _reply(self, request: Request) -> Reply:
        return reply_to(self._transport, request, deadline=self._soon())

    def _soon(self) -> float:
        return min(time.monotonic() + self._errand.limits.read_time.total_seconds(), self._errand.deadline)

    def _path(self, address: Address) -> str:
        volume = next(volume for volume in self._question.device.volumes if volume.key == address.volume)
        return volume.at(address.path)

    def _is_doubtful(self, address: Address) -> bool:
        # A volume that did not answer may hold its walker for ever: it comes last, when the others are seen.
        return isinstance(self._volumes.get(address.volume), Gap)

    @property
    def _is_local(self) -> bool:
        return isinstance(self._question.device.access, LocalAccess)
