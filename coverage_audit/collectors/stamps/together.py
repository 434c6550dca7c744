"""A whole listing read by the usual spellings: its names must agree in one form.

A name alone may look like a time by chance; a listing whose names all say theirs alike does not. Names of another form
than most are refused with that reason, and where two forms are equally frequent, all are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Final

from coverage_audit.collectors.stamps.by_pattern import span_by_pattern
from coverage_audit.collectors.stamps.local_time import NoPointError, Span, Zone
from coverage_audit.collectors.stamps.spelt import Spelt, read

_TIME_OR_ZONE: Final = "its last four figures may be a time or a zone, and no other name says which: give a pattern"


def spans(names: Iterable[str], pattern: str | None, zone: Zone) -> Mapping[str, Span | NoPointError]:
    """Return for each name what it means, or why it is no recovery point."""
    if pattern is None:
        return _by_spelling(tuple(names), zone)
    return {name: _by_pattern(name, pattern, zone) for name in names}


def _by_pattern(name: str, pattern: str, zone: Zone) -> Span | NoPointError:
    try:
        return span_by_pattern(name, pattern, zone)
    except NoPointError as why:
        return why


def _by_spelling(names: tuple[str, ...], zone: Zone) -> dict[str, Span | NoPointError]:
    spelt: dict[str, Spelt] = {}
    told: dict[str, Span | NoPointError] = {}
    for name in names:
        try:
            spelt[name] = read(name, zone)
        except NoPointError as why:
            told[name] = why
    counted = Counter(each.form for each in spelt.values()).most_common()
    tied = len(counted) > 1 and counted[0][1] == counted[1][1]
    sure = {each.form for each in spelt.values() if each.countable and not each.perhaps_zone}
    for name, each in spelt.items():
        if tied:
            told[name] = NoPointError("the names here are of several forms, none more frequent than all others")
        elif each.form != counted[0][0]:
            told[name] = NoPointError(f"it says its time in another form than {counted[0][1]} others here")
        elif each.perhaps_zone and each.form not in sure:
            told[name] = NoPointError(_TIME_OR_ZONE)
        else:
            told[name] = each.span
    return told
