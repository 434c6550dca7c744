"""Whether two boxes are one machine, as far as they show it."""

from __future__ import annotations

from coverage_audit.evidence.facts import DeviceFacts


def shown_one(a: DeviceFacts, b: DeviceFacts) -> str | None:
    """Say why two devices are shown to be one machine (None: they are not shown to be).

    A boot id is drawn anew by a kernel that starts, so two boxes that show the same one run on one kernel, whatever
    else they call themselves. One machine id alone may be a clone of a disk image.
    """
    if a.host_key and a.host_key == b.host_key:
        return f"{a.device} and {b.device} show one host key ({a.host_key}): they are one machine"
    if a.boot_id and a.boot_id == b.boot_id:
        if a.machine_id and a.machine_id == b.machine_id:
            return f"{a.device} and {b.device} show one machine id and one boot id: they are one machine"
        return f"{a.device} and {b.device} show one boot id ({a.boot_id}): one running kernel carries both"
    return None


def not_shown_apart(a: DeviceFacts, b: DeviceFacts) -> list[str]:
    """Say what is lacking to show two devices to be two machines (empty: nothing is)."""
    lacking = [
        f"{facts.device} does not show its {name}"
        for facts in (a, b)
        for name, value in (
            ("machine id", facts.machine_id),
            ("boot id", facts.boot_id),
            ("host key", facts.over if facts.over == "local" else facts.host_key),
        )
        if not value
    ]
    if a.machine_id and a.machine_id == b.machine_id:
        lacking.append(
            f"{a.device} and {b.device} show one machine id but no common boot id: "
            "one is a clone of the other, or it restarted between the two looks"
        )
    return lacking
