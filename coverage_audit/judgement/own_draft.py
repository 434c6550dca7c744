"""The lines by which an owner declares a place of the auditor's own, as one piece of text."""

from __future__ import annotations

from coverage_audit.comparison.own_places import Placed
from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.drafting import id_of, quoted
from coverage_audit.estate.model import Estate


def draft(estate: Estate, place: Placed) -> str:
    """Say what to write into the estate so that the folder of a place belongs to a dataset."""
    policy = estate.policies[0].id if estate.policies else "POLICY"
    name = id_of(f"auditor-{place.place.part}", [dataset.id for dataset in estate.datasets])
    original, before = place.address, ""
    if original is None:
        original, before = _new_volume(estate, place.folder)
    copies = f'[{{at: "DEVICE:VOLUME/{name}"}}]'
    return f"{before}Under datasets: {name}: {{policy: {policy}, original: {quoted(original)}, copies: {copies}}}."


def _new_volume(estate: Estate, folder: str) -> tuple[str, str]:
    """Return the address of a volume that is to be declared, and the lines that do so."""
    here = next((device for device in estate.devices if isinstance(device.access, LocalAccess)), None)
    taken = [str(volume.key.volume) for volume in here.volumes] if here else []
    name = id_of(folder.rpartition("/")[2], taken)
    volume = f"{name}: {{path: {quoted(folder)}, medium: ssd, on_root: true}}"
    said = "(on_root only on the system's own filesystem)."
    if here is not None:
        return f"{here.id}:{name}", f"Under devices, {here.id}, volumes: {volume} {said} "
    device = id_of("auditor", [one.id for one in estate.devices])
    site = estate.sites[0].id if estate.sites else "SITE"
    lines = f"{device}: {{site: {site}, access: local, volumes: {{{volume}}}}}"
    return f"{device}:{name}", f"Under devices: {lines} {said} "
