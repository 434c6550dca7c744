"""Sentences about a loss, so that the page, the sheet and the terminal say it alike."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import timedelta
from typing import Final

from coverage_audit.estate.changes import ChangeKind, EstateChange, in_one_line
from coverage_audit.estate.model import Estate
from coverage_audit.estate.units import format_about, format_duration, format_least
from coverage_audit.judgement.domains import DomainKind
from coverage_audit.judgement.wording import joined
from coverage_audit.scenarios.loss import Fate, Loss, LossTable, Place, Restore

NOT_KNOWN: Final = "not known"

_NAMED: Final = 5

_ONE: Final = {
    Fate.LOST: "1 dataset is lost whole",
    Fate.NOT_SHOWN: "of 1 dataset nothing shows that anything is left",
    Fate.FALLS_BACK: "1 dataset falls back to an older state",
    Fate.HELD: "1 dataset is held elsewhere as last seen",
    Fate.TOUCHED: "1 dataset loses a copy and keeps its original",
}
_MANY: Final = {
    Fate.LOST: "{} datasets are lost whole",
    Fate.NOT_SHOWN: "of {} datasets nothing shows that anything is left",
    Fate.FALLS_BACK: "{} datasets fall back to an older state",
    Fate.HELD: "{} datasets are held elsewhere as last seen",
    Fate.TOUCHED: "{} datasets lose a copy and keep their original",
}


def changes_said(changes: Sequence[EstateChange]) -> str:
    """Say what was found damaged, or declared, since the audit, of which it knows nothing (empty: nothing was)."""
    damaged = [one for one in changes if one.kind is ChangeKind.DAMAGED]
    declared = [one for one in changes if one.kind is not ChangeKind.DAMAGED]
    told = [f"After that audit a drill found damage: {in_one_line(damaged, _NAMED)}."] if damaged else []
    told += (
        [f"Of what was declared since that audit nothing is known: {in_one_line(declared, _NAMED)}."]
        if declared
        else []
    )
    return " ".join(told)


def count_said(fate: Fate, count: int) -> str:
    """Say how many datasets meet a fate."""
    return _ONE[fate] if count == 1 else _MANY[fate].format(count)


def loss_said(loss: Loss) -> str:
    """Say in one sentence the worst that a loss does."""
    worst = next((count_said(fate, len(loss.of(fate))) for fate in Fate if loss.of(fate)), "no dataset loses anything")
    return f"{with_it(loss)} {worst}."


def with_it(loss: Loss) -> str:
    """Say what happened, as the begin of a sentence: an account does not go, it erases."""
    if loss.domain.kind is DomainKind.ACCOUNT:
        return f"With all erased that {loss.said} can write to"
    return f"With {loss.said} gone"


def besides_said(loss: Loss) -> str:
    """Say what else a loss does (empty: nothing)."""
    told = [count_said(fate, len(loss.of(fate))) for fate in Fate if loss.of(fate)][1:]
    said = [f"Besides, {joined(told)}."] if told else []
    if loss.drive is not None and loss.drive.at_stake and loss.domain.kind is not DomainKind.VOLUME:
        names = joined(dict.fromkeys(one.dataset for one in loss.drive.at_stake))
        said.append(f"Until the drive is made up, no copy elsewhere is proven of {names}.")
    return " ".join(said)


def table_said(table: LossTable) -> str:
    """Say in one sentence what single failures do; with one loss alone that is the loss."""
    if len(table.losses) == 1:
        return loss_said(table.losses[0])
    losing = [loss for loss in table.losses if loss.of(Fate.LOST)]
    unshown = [loss for loss in table.losses if not loss.of(Fate.LOST) and loss.of(Fate.NOT_SHOWN)]
    of_all = f"of {len(table.losses)} single failures"
    if losing:
        verb = "loses" if len(losing) == 1 else "lose"
        return f"{len(losing)} {of_all} {verb} a dataset whole{_unshown(unshown)}."
    if unshown:
        one = len(unshown) == 1
        return (
            f"Of {len(table.losses)} single failures none surely loses a dataset; after {len(unshown)} of them nothing"
            f" shows that {'one' if one else 'some dataset'} is left."
        )
    return f"None {of_all} loses a dataset whole." if table.losses else "Nothing that could be lost is declared."


def _unshown(unshown: Sequence[Loss]) -> str:
    if not unshown:
        return ""
    return f"; after {len(unshown)} more nothing shows that one is left"


def time_said(restore: Restore | None) -> str:
    """Say how long a restore takes: a bound below, unless its rate was measured and the time to fetch it is known."""
    if restore is None or restore.time is None:
        return NOT_KNOWN
    return format_about(_cut(restore.time.time)) if restore.shown else least_said(restore.time.time)


def least_said(span: timedelta) -> str:
    """Say how long something takes at least."""
    return format_least(_cut(span))


def _cut(span: timedelta) -> timedelta:
    return span - span % timedelta(minutes=1) if span >= timedelta(minutes=10) else span


def limit_said(restore: Restore | None) -> str:
    """Say what makes a restore so long, or why that is not known (empty: nothing has to come back)."""
    if restore is None:
        return ""
    if restore.time is None:
        return "neither a link nor a drill tells how fast it is"
    fetching = restore.time.fetching
    slowest = restore.time.bottleneck.what
    return f"{slowest}; {format_duration(fetching)} to fetch it" if fetching else slowest


def holds_said(place: Place) -> str:
    """Say what is shown of a place, and that its key is gone where it is."""
    return "encrypted, and every place of its key is gone" if place.key_gone else place.holds.value


def keys_said(place: Place, estate: Estate, gone: Collection[str] = ()) -> str:
    """Say where the key of an encrypted place is kept (empty: it is not encrypted); what is `gone` keeps none."""
    if not place.encrypted:
        return ""
    if place.key_gone:
        return "its key is gone"
    if not place.key_kept:
        return "where its key is kept is not declared"
    left = [keeper for keeper in place.key_kept if keeper not in gone]
    return f"its key is kept at {joined(named(left, estate))}" if left else "its key is gone"


def gone_with(loss: Loss) -> frozenset[str]:
    """Return the ids of the devices, and of the site, that a loss takes."""
    site = {loss.domain.name.partition("=")[2]} if loss.domain.kind is DomainKind.SITE else set()
    return frozenset({str(device) for device in loss.devices} | site)


def named(keepers: Sequence[str], estate: Estate) -> list[str]:
    """Return the names of sites, and of devices with their sites, from their ids."""
    sites = {str(site.id): site.name for site in estate.sites}
    devices = {str(device.id): f"{device.id} ({sites[device.site]})" for device in estate.devices}
    return [devices.get(keeper, sites.get(keeper, keeper)) for keeper in keepers]
