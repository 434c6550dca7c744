"""A copy's folder that is shown not to be there, on the very volume on which it should lie, is an empty tree.

That is more than a gap: the volume was seen and is the pinned one, so what the folder lacks is proven. A box that shows
no identity, or a volume that may be another, proves nothing of the kind; nor does it ever hold for an original.
"""

from __future__ import annotations

from uuid import uuid4

from coverage_audit.audits.sighting import Sighting
from coverage_audit.comparison.types import Workspace
from coverage_audit.estate.model import Copy
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, IdentityCheck, PinState, VolumeFacts
from coverage_audit.evidence.manifest import Manifest, Origin
from coverage_audit.evidence.store import ManifestWriter

_PROVING = frozenset({PinState.PINNED_NOW, PinState.AS_PINNED, PinState.TAKEN_AS_DECLARED})


def absent_tree(copy: Copy, gap: Gap, sighting: Sighting, work: Workspace) -> Manifest | None:
    """Return an empty manifest where the copy's folder is shown to be missing (None: that is not shown).

    Raises EvidenceError when it cannot be written.
    """
    key = copy.address.volume
    volume, identity = sighting.volumes.get(key), sighting.identities.get(key)
    device = sighting.devices.get(key.device)
    if gap.kind is not GapKind.MISSING or copy.points is not None or not isinstance(volume, VolumeFacts):
        return None
    if not isinstance(identity, IdentityCheck) or identity.state not in _PROVING or not isinstance(device, DeviceFacts):
        return None
    origin = Origin(
        address=copy.address,
        root=f"{volume.path}/{copy.address.path}",
        how="seen to be absent",
        started=gap.at,
        finished=gap.at,
        clock_offset=device.clock_offset,
        filesystem_uuid=volume.filesystem_uuid,
        filesystem_type=volume.filesystem_type,
    )
    file = work.folder / f"absent-{uuid4().hex}.parquet"
    return ManifestWriter(file, work.seed, work.memory, started=gap.at).finish(origin, ())
