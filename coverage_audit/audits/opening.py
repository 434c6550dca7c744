"""Open manifests, made by other programs: brought in as evidence of a shelf drive, or held against a tree."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from coverage_audit.audits.bringing import refuse_times
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.recording import Taken, address_of, declared_on
from coverage_audit.collectors.readers.open_manifests import ListedTree, parse_bag, parse_checksums, parse_mtree
from coverage_audit.collectors.reading_manifests import bag_files, open_manifest_of, read_open_manifest
from coverage_audit.errors import CollectionError, UsageError
from coverage_audit.estate.model import Address, Estate
from coverage_audit.evidence.facts import IdentityCheck, PinState
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.shelf import ShelfTree
from coverage_audit.evidence.visible import visible

_SNIFFED = 65536  # bytes


def listed_in(file: Path) -> ListedTree:
    """Read an open manifest: a folder is a bag, a file a specification of mtree(5) or a checksum file.

    Raises CollectionError for what is none, wrong or hostile; it names the file.
    """
    try:
        if file.is_dir():
            return parse_bag(bag_files(file))
        text = read_open_manifest(file)
        return parse_mtree(text) if _is_mtree(text) else parse_checksums(text)
    except CollectionError as error:
        raise CollectionError(f"{visible(str(file))} is no evidence: {error}") from error


def opened(file: Path, address: Address, made: datetime, parts: Parts) -> Manifest:
    """Write an open manifest's rows as a manifest of this program's, in the parts' folder."""
    return open_manifest_of(listed_in(file), address, str(file), made, parts.work)


def taken_from(estate: Estate, file: Path, wanted: str, made_text: str, parts: Parts) -> Taken:
    """Return an open manifest as what a shelf drive held at the time that the owner says.

    It shows nothing of its drive: that its content goes on is its identity. Raises UsageError for an address that the
    estate does not have or a time that is none, EvidenceError for a time that cannot count.
    """
    address, made = address_of(estate, wanted), _instant(made_text, estate)
    trees, _ = declared_on(estate, address)
    if trees != (address,):
        raise UsageError(f"--for: an open manifest is of one place; on this volume there are: {_said(trees)}")
    manifest = opened(file, address, made, parts)
    tree = ShelfTree(address=address, manifest=manifest, at=made, how=f"brought in: {manifest.origin.how}")
    refuse_times(estate, tree, address, parts)
    device = estate.device(address.volume.device)
    pinned = parts.ledger.pins(address.volume, device.formerly) or ()
    check = IdentityCheck(volume=address.volume, state=PinState.BY_CONTENT, pinned=pinned)
    return Taken(trees=(tree,), identity=check)


def _is_mtree(text: bytes) -> bool:
    """Whether a text is a specification: its first line says so, or one sets keywords or a type."""
    lines = text[:_SNIFFED].splitlines()
    if lines and lines[0].lower().startswith(b"#mtree"):
        return True
    return any(line.startswith((b"/set ", b"/unset ")) or b" type=" in line for line in lines)


def _instant(text: str, estate: Estate) -> datetime:
    try:
        made = datetime.fromisoformat(text)
    except ValueError:
        raise UsageError(f"--made: '{visible(text)}' is no time (write it as 2026-11-25T04:10)") from None
    return made if made.tzinfo is not None else made.replace(tzinfo=estate.time_zone)


def _said(trees: tuple[Address, ...]) -> str:
    return ", ".join(map(str, trees)) or "none"
