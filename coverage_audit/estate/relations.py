"""What refers to what: everything named must be declared, and what belongs together must be there together.

Works on the tree and not on the shapes, so that a mistake in one value hides none in its neighbours; a value that is
no text, or no address, is passed over here because the shapes tell it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from coverage_audit.estate.addresses import parse_address, parse_volume_key
from coverage_audit.estate.mistakes import Mistakes, did_you_mean, shown
from coverage_audit.estate.model import POINT, Address, VolumeKey
from coverage_audit.estate.nodes import Entry, Keys, Spot, Text, as_text
from coverage_audit.estate.patterns import check_left_out

_SOURCES = ("url_file", "url_env", "credential")


def check_relations(root: Keys, mistakes: Mistakes) -> None:
    """Note every reference to what is not declared, and every half of a pair without the other."""
    declared = Declared(root)
    for _, device in root.mappings_at("devices"):
        _check_device(device, declared, mistakes)
    for _, dataset in root.mappings_at("datasets"):
        _check_dataset(dataset, declared, mistakes)
    _check_keep(root, mistakes)
    for entry, notice in root.mappings_at("notices"):
        _check_kept(entry, notice, mistakes)
        for policy in texts(notice, "policies"):
            _check_reference(policy, "policy", declared.policies, mistakes)
    alive = root.entries.get("alive")
    if alive is not None and isinstance(alive.value, Keys):
        _check_kept(alive, alive.value, mistakes)
    _check_leave_out(root, mistakes, "litter")
    for body in root.items_at("not_kept"):
        if isinstance(body, Keys):
            _check_leave_out(body, mistakes, "names")
            _check_volume(body, "on", declared, mistakes)


def _check_keep(root: Keys, mistakes: Mistakes) -> None:
    for _, policy in root.mappings_at("policies"):
        keep = policy.entries.get("keep")
        if keep is not None and isinstance(keep.value, Keys) and not keep.value.entries:
            mistakes.add(keep.spot, "'keep' asks for nothing (write e.g. {daily: 7, weekly: 4} or {span: 14d})")


class Declared:
    """What the file declares, by id."""

    def __init__(self, root: Keys) -> None:
        self.sites = frozenset(root.keys_at("sites").entries)
        self.policies = frozenset(root.keys_at("policies").entries)
        self.volumes: Mapping[str, frozenset[str]] = {
            entry.key: frozenset(entry.value.keys_at("volumes").entries if isinstance(entry.value, Keys) else ())
            for entry in root.keys_at("devices")
        }
        self.former: Mapping[str, str] = {
            former.value: entry.key
            for entry, device in root.mappings_at("devices")
            for former in texts(device, "formerly")
        }

    def refusal_of_device(self, device: str) -> str | None:
        """Say why this is no declared device, None if it is one."""
        if device in self.volumes:
            return None
        now = self.former.get(device)
        mend = f"it is now {shown(now)}" if now is not None else did_you_mean(device, self.volumes)
        return f"no device {shown(device)} is declared ({mend})"

    def refusal_of_volume(self, key: VolumeKey) -> str | None:
        """Say why this is no declared volume, None if it is one."""
        refusal = self.refusal_of_device(key.device)
        if refusal is not None or key.volume in self.volumes[key.device]:
            return refusal
        mend = did_you_mean(key.volume, self.volumes[key.device])
        return f"device {shown(key.device)} has no volume {shown(key.volume)} ({mend})"


def texts(mapping: Keys, key: str) -> Iterator[Text]:
    """Go through the texts of the list under this key."""
    for node in mapping.items_at(key):
        text = as_text(node)
        if text is not None:
            yield text


def address_at(mapping: Keys, key: str) -> tuple[Spot, Address] | None:
    """Return the address under this key with its place, None where there is none that can be read."""
    text = mapping.text_at(key)
    if text is None:
        return None
    try:
        return text.spot, parse_address(text.value)
    except ValueError:
        return None


def addresses(mapping: Keys, key: str) -> Iterator[tuple[Spot, Address]]:
    """Go through the addresses of the list under this key that can be read."""
    for text in texts(mapping, key):
        try:
            yield text.spot, parse_address(text.value)
        except ValueError:
            continue


def _check_device(device: Keys, declared: Declared, mistakes: Mistakes) -> None:
    _check_reference(device.text_at("site"), "site", declared.sites, mistakes)
    on_shelf = (access := device.text_at("access")) is not None and access.value == "shelf"
    named = [host] if (host := device.text_at("runs_on")) is not None else []
    named += [Text(entry.spot, entry.key) for entry in device.keys_at("attested_apart")]
    for text in named:
        _note(text.spot, declared.refusal_of_device(text.value), mistakes)
    if on_shelf and "may_be_off" in device.entries:
        spot = device.entries["may_be_off"].spot
        mistakes.add(
            spot, "'may_be_off' means nothing on a shelf (the copy's max_age says how old its manifest may be)"
        )
    for entry, volume in device.mappings_at("volumes"):
        if not on_shelf and "path" not in volume.entries:
            mistakes.add(entry.spot, "'path' is missing (only a volume on a shelf may go without)")
        _check_volume(volume, "stored_on", declared, mistakes)
        _check_key_kept(volume, declared, mistakes)


def _check_key_kept(body: Keys, declared: Declared, mistakes: Mistakes) -> None:
    known = declared.sites | set(declared.volumes)
    for keeper in texts(body, "key_kept"):
        _check_reference(keeper, "site or device", known, mistakes)


def _check_volume(mapping: Keys, name: str, declared: Declared, mistakes: Mistakes) -> None:
    text = mapping.text_at(name)
    if text is None:
        return
    try:
        key = parse_volume_key(text.value)
    except ValueError:
        return
    _note(text.spot, declared.refusal_of_volume(key), mistakes)


def _check_dataset(dataset: Keys, declared: Declared, mistakes: Mistakes) -> None:
    _check_reference(dataset.text_at("policy"), "policy", declared.policies, mistakes)
    original = address_at(dataset, "original")
    if original is not None:
        spot, address = original
        _note(spot, declared.refusal_of_volume(address.volume), mistakes)
        if address.has_point:
            mistakes.add(spot, f"an original has no {POINT} (it is where the dataset is worked on)")
    _check_leave_out(dataset, mistakes)
    for copy in dataset.items_at("copies"):
        if isinstance(copy, Keys):
            _check_copy(copy, declared, mistakes)
            _check_taken_from(copy, dataset, mistakes)


def _check_taken_from(copy: Keys, dataset: Keys, mistakes: Mistakes) -> None:
    taken = address_at(copy, "taken_from")
    if taken is None:
        return
    places = {address_at(other, "at") for other in dataset.items_at("copies") if isinstance(other, Keys)}
    others = {place[1] for place in places if place is not None} - {at[1] for at in (address_at(copy, "at"),) if at}
    if taken[1] not in others:
        mistakes.add(taken[0], "'taken_from' names no other copy of this dataset (leave it out for the original)")


def _check_copy(copy: Keys, declared: Declared, mistakes: Mistakes) -> None:
    _check_leave_out(copy, mistakes)
    _check_key_kept(copy, declared, mistakes)
    at = address_at(copy, "at")
    if at is None:
        return
    spot, address = at
    _note(spot, declared.refusal_of_volume(address.volume), mistakes)
    _check_points(copy, spot, address, mistakes)


def _check_points(copy: Keys, spot: Spot, address: Address, mistakes: Mistakes) -> None:
    points = copy.entries.get("points")
    if points is None:
        if address.has_point:
            mistakes.add(spot, f"{POINT} without 'points' (add e.g. points: {{folders: \"%Y-%m-%dT%H%M%SZ\"}})")
        return
    source = copy.keys_at("points").entries
    if not address.has_point and not {"zfs", "command"} & set(source):
        mistakes.add(points.spot, f"'points' without {POINT} (put {POINT} into 'at' where the name of a point stands)")
    files = "files" in source or ((word := copy.text_at("points")) is not None and word.value == "files")
    if files and address.has_point and POINT not in address.path.rpartition("/")[2]:
        mistakes.add(spot, f"dated files have {POINT} in their own name (the last part of 'at')")


def _check_leave_out(mapping: Keys, mistakes: Mistakes, name: str = "leave_out") -> None:
    patterns = list(texts(mapping, name))
    words = [pattern.value for pattern in patterns]
    for number, pattern in enumerate(patterns, 1):
        try:
            check_left_out(pattern.value, words[number:])
        except ValueError as error:
            mistakes.add(pattern.spot, str(error))


def _check_kept(entry: Entry, body: Keys, mistakes: Mistakes) -> None:
    given = [source for source in _SOURCES if source in body.entries]
    name = shown(entry.key)
    if not given:
        mistakes.add(entry.spot, f"{name} does not say where its address is kept (give one of {', '.join(_SOURCES)})")
    for further in given[1:]:
        spot = body.entries[further].spot
        mistakes.add(spot, f"{name} says in two ways where its address is kept (keep one of {' and '.join(given)})")


def _check_reference(text: Text | None, kind: str, known: frozenset[str], mistakes: Mistakes) -> None:
    if text is not None and text.value not in known:
        mistakes.add(text.spot, f"no {kind} {shown(text.value)} is declared ({did_you_mean(text.value, known)})")


def _note(spot: Spot, message: str | None, mistakes: Mistakes) -> None:
    if message is not None:
        mistakes.add(spot, message)
