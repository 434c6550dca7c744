"""Record a shelf drive that is plugged in now: plan, ask, identify, record."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import PurePosixPath

from coverage_audit.audits.identifying import identify
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.plugging import as_carried, lies_on, question_at, trees_recorded
from coverage_audit.errors import CollectionError, UsageError
from coverage_audit.estate.access import Access, LocalAccess, ShelfAccess
from coverage_audit.estate.addresses import parse_address, parse_volume_path
from coverage_audit.estate.model import Address, Copy, Device, DeviceId, Estate
from coverage_audit.evidence.collected import Answer, Question
from coverage_audit.evidence.facts import Gap, IdentityCheck, PinState, VolumeFacts
from coverage_audit.evidence.manifest import Blind, PartialManifest
from coverage_audit.evidence.shelf import ShelfTree
from coverage_audit.evidence.visible import visible

PLUGGED_IN = "recorded while it was plugged in"


@dataclass(frozen=True, kw_only=True)
class RecordingPlan:
    """What is to be recorded: the question to the box, of which declared device, on which host (None: this one)."""

    question: Question
    host: DeviceId | None


@dataclass(frozen=True, kw_only=True)
class Taken:
    """Trees of one volume as they were seen just now; `undigested` are files of which no digest could be made."""

    trees: tuple[ShelfTree, ...]
    identity: IdentityCheck
    undigested: tuple[tuple[Address, Blind], ...] = ()

    @property
    def is_whole(self) -> bool:
        """Whether nothing in it could not be read."""
        return not self.undigested and not any(isinstance(tree.manifest, PartialManifest) for tree in self.trees)


def plan_recording(estate: Estate, path: str, wanted: str, on: str | None, digest: str | None = None) -> RecordingPlan:
    """Plan to record the folder `path` of a box as the address `wanted`, or all that is declared on a volume.

    Raises UsageError where the estate has no such address or box, or where path and address do not end alike.
    """
    address = address_of(estate, wanted)
    if address.has_point:
        raise UsageError(f"--for: dated copies are recorded with their volume: --for {address.volume}")
    shelf, volume = estate.device(address.volume.device), estate.volume(address.volume)
    trees, pointed = declared_on(estate, address)
    host, access = reached(estate, on)
    there = {volume: _volume_path(path, address)}
    question = question_at(estate, shelf, access, there, trees, pointed)
    return RecordingPlan(question=replace(question, digest=digest), host=host)


def address_of(estate: Estate, wanted: str) -> Address:
    """Return the address of a shelf drive that `--for` names. Raises UsageError where the estate has none such."""
    try:
        address = parse_address(wanted)
        estate.volume(address.volume)
    except ValueError as error:
        raise UsageError(f"--for: {error}") from None
    except KeyError:
        raise UsageError(f"--for: the estate has no volume '{wanted.partition('/')[0]}'; {_shelves(estate)}") from None
    if not isinstance(estate.device(address.volume.device).access, ShelfAccess):
        raise UsageError(
            f"--for: {address.volume.device} is no shelf drive, so each audit looks at it itself; {_shelves(estate)}"
        )
    return address


def take(estate: Estate, plan: RecordingPlan, parts: Parts) -> Taken:
    """Ask and walk the drive where it hangs. Raises CollectionError where any of it could not be seen."""
    (answer,) = parts.gather([plan.question])
    _refuse_gaps(answer)
    _refuse_another_place(plan, answer)
    carried = as_carried(answer)
    (check,) = identify(estate, [carried], parts.ledger).values()
    if isinstance(check, Gap):
        raise CollectionError(str(check))
    seen = [(tree.point_of or tree.address, tree.outcome) for tree in answer.trees if not isinstance(tree.outcome, Gap)]
    return Taken(
        trees=trees_recorded(carried, seen, host=plan.host, how=PLUGGED_IN),
        identity=check,
        undigested=tuple((tree.address, blind) for tree in answer.trees for blind in tree.undigested),
    )


def record(taken: Taken, parts: Parts, *, accepted_by: str | None = None) -> None:
    """Record what was taken, whole or not at all; `accepted_by` accepts another drive than the one pinned.

    Raises CollectionError for a drive that is not the one pinned and that nobody accepts.
    """
    check = taken.identity
    if check.state is PinState.ASKED:
        raise CollectionError(f"{check.volume}: {'; '.join(check.differences)}: this is no drive that is plugged in")
    if not check.trusted:
        if accepted_by is None:
            raise CollectionError(
                f"this is not the drive that is pinned as {check.volume}: {'; '.join(check.differences)}. "
                "Nothing was recorded. If it was replaced, type the command again with --accept"
            )
        parts.ledger.accept(check.volume, check.seen, parts.clock(), accepted_by)
    parts.ledger.record_shelf(taken.trees, check.volume, check.seen, parts.clock())


def declared_on(estate: Estate, address: Address) -> tuple[tuple[Address, ...], tuple[Copy, ...]]:
    """Return what is declared at an address, or on the whole volume that it is: plain places, and dated copies.

    Raises UsageError where nothing is.
    """
    volume = estate.volume(address.volume)
    trees, pointed = lies_on(volume, estate.datasets)
    if address in trees:
        return (address,), ()
    if address.has_point and any(copy.address == address for copy in pointed):
        return (), tuple(copy for copy in pointed if copy.address == address)
    if not address.path and (trees or pointed):
        return trees, pointed
    if not (trees or pointed):
        raise UsageError(f"--for: no dataset has a copy on {volume.key}")
    known = ", ".join(map(str, trees))
    dated = f"; its dated copies are recorded together, by --for {volume.key}" if pointed else ""
    raise UsageError(f"--for: no dataset has a copy at {address}; on this volume there are: {known or 'none'}{dated}")


def reached(estate: Estate, on: str | None) -> tuple[DeviceId | None, Access]:
    """Return how the box that `--on` names is reached (None: this machine). Raises UsageError where there is none."""
    if on is None:
        return None, LocalAccess()
    try:
        host = estate.device(DeviceId(on))
    except KeyError:
        raise UsageError(f"--on: there is no device '{on}' in the estate; it has: {_names(estate)}") from None
    if isinstance(host.access, ShelfAccess):
        raise UsageError(f"--on: '{on}' is a shelf drive; name the box at which it is plugged in")
    return host.id, host.access


def _volume_path(path: str, address: Address) -> str:
    """Return where the volume lies if the address lies at `path`."""
    try:
        folder = PurePosixPath(parse_volume_path(path))
    except ValueError as error:
        raise UsageError(f"PATH: {error}") from None
    below = PurePosixPath(address.path).parts
    if not below:
        return str(folder)
    if folder.parts[-len(below) :] != below:
        raise UsageError(
            f"PATH: '{folder}' does not end in '{address.path}': name the folder that is {address}, "
            f"e.g. {folder / address.path}"
        )
    return str(folder.parents[len(below) - 1])


def _refuse_gaps(answer: Answer) -> None:
    outcomes: list[object] = [answer.facts, *answer.volumes]
    outcomes += [listed.outcome for listed in answer.points]
    outcomes += [tree.outcome for tree in answer.trees]
    gaps = [str(outcome) for outcome in outcomes if isinstance(outcome, Gap)]
    if gaps:
        raise CollectionError(f"nothing was recorded: {'; '.join(dict.fromkeys(gaps))}")
    if not answer.trees:
        raise CollectionError("nothing was recorded: there is no recovery point on it")


def _refuse_another_place(plan: RecordingPlan, answer: Answer) -> None:
    """Hold the volume's path against where the drive is mounted: a folder of that name further down is another one."""
    for facts in answer.volumes:
        if not isinstance(facts, VolumeFacts) or facts.on_root or facts.mount_target in {None, "/", facts.path}:
            continue
        below = [address.path for address in plan.question.trees if address.path][:1]
        there, right = (visible("/".join([str(base), *below])) for base in (facts.path, facts.mount_target))
        raise CollectionError(
            f"nothing was recorded: the drive is mounted at {visible(str(facts.mount_target))}, and places on it are "
            f"counted from there: {there} is not what is declared, {right} would be. Name that, or declare where the "
            "copy really lies"
        )


def _shelves(estate: Estate) -> str:
    names = [str(v.key) for device in estate.devices for v in device.volumes if _is_shelf(device)]
    return f"its shelf drives are: {', '.join(names)}" if names else "it declares no shelf drive (`access: shelf`)"


def _is_shelf(device: Device) -> bool:
    return isinstance(device.access, ShelfAccess)


def _names(estate: Estate) -> str:
    return ", ".join(device.id for device in estate.devices if not _is_shelf(device))
