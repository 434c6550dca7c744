"""What is said of links: whether a day's growth fits through each, and how long a first copy of all takes."""

from __future__ import annotations

from coverage_audit.estate.model import Estate
from coverage_audit.estate.units import format_bit_rate, format_size
from coverage_audit.judgement.wording import joined
from coverage_audit.reports.loss_words import least_said
from coverage_audit.reports.present import site_name
from coverage_audit.scenarios.link_load import LinkLoad

OF_GROWTH = "What is rewritten or deleted in place shows in no growth, and takes time besides."


def link_said(load: LinkLoad, estate: Estate) -> str:
    """Say in a few sentences what a link has to carry."""
    link = format_bit_rate(load.device.link or 0)
    where = f"{load.device.id} ({site_name(estate, load.device)}, {link})"
    return " ".join(part for part in (f"{where}: {_day(load)}", _first(load)) if part)


def fits_said(load: LinkLoad) -> str:
    """Say in a word or two whether a day's growth fits."""
    return {True: "fits", False: "does not fit", None: "cannot be told"}[load.fits]


def _day(load: LinkLoad) -> str:
    takes = f"a day's growth of {format_size(load.upload.change)} takes {least_said(load.upload.takes)}"
    if load.fits is False:
        return f"{takes}, more than the day has: it does not fit."
    if load.ungauged:
        known = f"{takes}; " if load.upload.change else ""
        untold = f"how fast {joined(load.ungauged)} {_grow(load)} is not known yet"
        return f"{known}{untold}, so whether it fits cannot be told."
    return f"{takes} of each day: it fits."


def _grow(load: LinkLoad) -> str:
    return "grows" if len(load.ungauged) == 1 else "grow"


def _first(load: LinkLoad) -> str:
    beside = f" (without {joined(load.unsized)}, never seen)" if load.unsized else ""
    if load.upload.first is None:
        return "A first copy of all would never be done."
    if not load.upload.whole:
        return ""
    size, takes = format_size(load.upload.whole), least_said(load.upload.first)
    return f"A first copy of all, {size}{beside}, takes {takes}."
