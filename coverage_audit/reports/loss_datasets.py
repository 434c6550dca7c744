"""What the page of a loss prints of datasets: what becomes of each, and where it would come back from."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from coverage_audit.estate.model import Estate
from coverage_audit.estate.units import format_duration
from coverage_audit.judgement.wording import amount, joined
from coverage_audit.reports.loss_words import NOT_KNOWN, holds_said, keys_said, limit_said, time_said
from coverage_audit.reports.page_words import Clock, Moment
from coverage_audit.scenarios.loss import BelowPolicy, DatasetLoss, Fate, Place


@dataclass(frozen=True, kw_only=True)
class PlaceView:
    """One place that is left, or that falls. `back` is its proven recovery point (None: it has none)."""

    address: str
    site: str
    role: str
    standing: str
    holds: str
    why: str
    key: str
    back: Moment | None


@dataclass(frozen=True, kw_only=True)
class LossView:
    """One dataset. `best` None: nothing is shown to hold it. `back` is the state to which it comes back.

    `below` is what fails only then, `already` names the rules that fail now, too. `asked` is the time that its policy
    allows for a restore (empty: none).
    """

    name: str
    policy: str
    fate: Fate
    slug: str
    size: str
    best: PlaceView | None
    back: Moment | None
    trimmed: Moment | None
    lacks: str
    left_out: str
    exposed: str
    others: tuple[PlaceView, ...]
    gone: tuple[PlaceView, ...]
    below: tuple[BelowPolicy, ...]
    already: str
    time: str
    limit: str
    asked: str


def slug(fate: Fate) -> str:
    """Return a fate as the style sheet names it."""
    return fate.name.lower().replace("_", "-")


def loss_view(loss: DatasetLoss, estate: Estate, clock: Clock, gone: Collection[str] = ()) -> LossView:
    """Prepare one dataset; `gone` are the devices and sites that keep no key any more."""
    best = loss.best
    return LossView(
        name=loss.dataset,
        policy=loss.policy,
        fate=loss.fate,
        slug=slug(loss.fate),
        size=amount(loss.size) if loss.size is not None else "never yet seen whole",
        best=place_view(best, estate, clock, gone) if best is not None else None,
        back=clock.maybe(loss.since) if loss.original_gone else None,
        trimmed=clock.maybe(loss.since_trimmed) if loss.since_trimmed != loss.since and loss.original_gone else None,
        lacks=lacks_said(loss),
        left_out=left_out_said(loss),
        exposed=_exposed(loss),
        others=tuple(place_view(place, estate, clock, gone) for place in loss.left if place != best),
        gone=tuple(place_view(place, estate, clock) for place in loss.gone),
        below=tuple(one for one in loss.below if one.is_new),
        already=_already(loss),
        time=time_said(loss.restore) if loss.original_gone and loss.fate is not Fate.LOST else "",
        limit=limit_said(loss.restore),
        asked=format_duration(loss.restore_within) if loss.restore_within is not None else "",
    )


def place_view(place: Place, estate: Estate, clock: Clock, gone: Collection[str] = ()) -> PlaceView:
    """Prepare one place."""
    return PlaceView(
        address=str(place.address),
        site=site_of(place, estate),
        role="original" if place.is_original else "copy",
        standing=place.standing,
        holds=holds_said(place),
        why=place.why,
        key=keys_said(place, estate, gone),
        back=clock.maybe(place.recovery_point),
    )


def site_of(place: Place, estate: Estate) -> str:
    """Return the name of a place's site, its id where the site is not declared any more."""
    return next((site.name for site in estate.sites if site.id == place.site), place.site)


def lacks_said(loss: DatasetLoss) -> str:
    """Say what the best place lacks of the original as last seen (empty: nothing has to come back from it)."""
    if not loss.original_gone or loss.best is None:
        return ""
    if loss.not_held is None:
        return f"what it lacks is {NOT_KNOWN}"
    return (
        f"lacks {amount(loss.not_held)}"
        if loss.not_held.files or loss.not_held.bytes
        else "lacks nothing that was seen"
    )


def left_out_said(loss: DatasetLoss) -> str:
    """Say what patterns keep out of every copy, so that it is lost with the original (empty: nothing)."""
    if not loss.original_gone or not loss.left_out.files:
        return ""
    return f"what its patterns leave out is lost: {amount(loss.left_out)}"


def _already(loss: DatasetLoss) -> str:
    return joined(dict.fromkeys(one.finding.rule for one in loss.below if not one.is_new)) if loss.below else ""


def _exposed(loss: DatasetLoss) -> str:
    if loss.exposed is None or not loss.exposed.files:
        return ""
    files = "1 file is" if loss.exposed.files == 1 else f"{loss.exposed.files} files are"
    return f"{files} held by no copy at all"
