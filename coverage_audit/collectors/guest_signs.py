"""Whether what a box shows of itself says that it is a guest: a virtual machine or a container.

The signs are those that such machines commonly bear (common practice, no published source; the names of makers
in the firmware's tables from memory of what hypervisors write there).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

_FIRMWARE: Final = re.compile(
    r"qemu|kvm|virtual|vmware|innotek|xen|bochs|parallels|bhyve|amazon ec2|google compute|openstack|hvm domu",
    re.IGNORECASE,
)
_CONTAINED: Final = re.compile(r"docker|lxc|libpod|kubepods|containerd|machine-.*\.scope|buildah", re.IGNORECASE)


def shows_itself_guest(said: Mapping[str, str]) -> bool | None:
    """Return True where any sign says guest, False where the box's own detector says none, else None.

    A detector that answers `none` is overruled by any sign: a hidden host is commoner than a false sign.
    """
    detected = said.get("detected", "")
    signs = (
        detected not in {"", "none"},
        bool(_FIRMWARE.search(f"{said.get('vendor', '')} {said.get('product', '')}")),
        said.get("xen", "") == "xen" and "control_d" not in said.get("xen_powers", ""),
        bool(said.get("container")),
        bool(said.get("marker")),
        bool(_CONTAINED.search(said.get("cgroup", ""))),
        bool(said.get("cpu")),
    )
    if any(signs):
        return True
    return False if detected == "none" else None
