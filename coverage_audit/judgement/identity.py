"""Identity: whether what lies at a declared path is the volume that was pinned when it was first seen.

What a volume shows is pinned as a set; none of it may vanish or change until the owner accepts that. What is
shown in addition joins the set, and is said. Facts that `identity:` declares are pinned by hand: they hold from
the first audit on, and overrule what was pinned under the same name before.
"""

from __future__ import annotations

from collections.abc import Sequence

from coverage_audit.estate.model import Volume
from coverage_audit.evidence.facts import DeviceFacts, Gap, IdentityCheck, PinnedFact, PinState, VolumeFacts
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.identity_facts import declared_facts, of_the_volume, shown_facts, to_pin

_NAMES = {
    "filesystem_uuid": "filesystem UUID",
    "filesystem_type": "filesystem type",
    "mount_source": "mount source",
    "mount_target": "mount target",
    "fs_root": "mounted part of the filesystem",
    "drive": "drive",
    "machine_id": "machine id",
    "host_key": "host key",
}


def check_identity(
    volume: Volume,
    seen: VolumeFacts,
    device: DeviceFacts | Gap,
    pinned: Sequence[PinnedFact] | None,
    *,
    rehearsal: bool,
) -> IdentityCheck:
    """Hold what a volume shows now against what is pinned; `pinned` None: it is seen for the first time.

    The worst is said first: a pinned or declared fact that vanished or changed (CHANGED), a path on the root
    filesystem that was not declared so (ASKED: the first audit may already have met the empty mount
    point), no fact of the volume's own (BY_CONTENT).
    """
    shown = shown_facts(seen, device)
    by_hand = declared_facts(volume)
    expected = _expected(pinned or (), by_hand)
    kept = tuple(pinned or ())
    unmounted = _nothing_mounted(volume, seen)
    differences = tuple(_differences(expected, shown))
    if differences:
        said = (unmounted, *differences) if unmounted else differences
        return IdentityCheck(
            volume=volume.key, state=PinState.CHANGED, pinned=kept, seen=to_pin(shown), differences=said
        )
    together = _union(expected, to_pin(shown))
    if unmounted and not rehearsal:
        said = (f"{unmounted}, and the volume is not declared `on_root: true`",)
        return IdentityCheck(volume=volume.key, state=PinState.ASKED, pinned=kept, seen=together, differences=said)
    return IdentityCheck(
        volume=volume.key,
        state=_state(unmounted, shown, pinned),
        pinned=kept,
        seen=together,
        newly_shown=_newly_shown(pinned, together),
    )


def _state(unmounted: str | None, shown: Sequence[PinnedFact], pinned: Sequence[PinnedFact] | None) -> PinState:
    if unmounted:
        return PinState.TAKEN_AS_DECLARED
    if not any(of_the_volume(fact) for fact in shown):
        return PinState.BY_CONTENT
    return PinState.AS_PINNED if pinned else PinState.PINNED_NOW


def _nothing_mounted(volume: Volume, seen: VolumeFacts) -> str | None:
    """Say that the path lies on the root filesystem without having been declared so (None: it does not)."""
    on_root = seen.on_root or seen.mount_target == "/"
    if on_root and not volume.on_root:
        return f"nothing is mounted at {volume.path or seen.path}: the path lies on the root filesystem"
    return None


def _expected(pinned: Sequence[PinnedFact], by_hand: Sequence[PinnedFact]) -> tuple[PinnedFact, ...]:
    overruled = {fact.name for fact in by_hand}
    return (*by_hand, *(fact for fact in pinned if fact.name not in overruled))


def _union(first: Sequence[PinnedFact], second: Sequence[PinnedFact]) -> tuple[PinnedFact, ...]:
    return tuple(dict.fromkeys((*first, *second)))


def _differences(expected: Sequence[PinnedFact], shown: Sequence[PinnedFact]) -> list[str]:
    """Say each fact that vanished or changed, in the order in which they are pinned."""
    return [_changed(fact, shown) for fact in expected if fact not in shown]


def _changed(fact: PinnedFact, shown: Sequence[PinnedFact]) -> str:
    name = _NAMES.get(fact.name, fact.name)
    if fact.name == "drive":
        return f"{name} {visible(fact.value)} is not shown any more"
    now = " and ".join(visible(other.value) for other in shown if other.name == fact.name)
    return f"{name} was {visible(fact.value)}, is now {now or 'not shown'}"


def _newly_shown(pinned: Sequence[PinnedFact] | None, together: Sequence[PinnedFact]) -> tuple[str, ...]:
    if not pinned:
        return ()
    return tuple(
        f"{_NAMES[fact.name]} {visible(fact.value)} is shown in addition" for fact in together if fact not in pinned
    )
