"""Any judged estate is read back as the same value: made up from the types themselves, whatever they hold."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import Enum
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints
from zoneinfo import ZoneInfo

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger import judged_form

TEXT = st.text(max_size=6) | st.sampled_from(["\udcff", "\0", "\u202e", '"', "\\", "é"])
PLAIN: dict[Any, st.SearchStrategy[Any]] = {
    str: TEXT,
    int: st.integers(-(2**63), 2**63),
    bool: st.booleans(),
    float: st.floats(allow_nan=False),
    bytes: st.binary(max_size=6),
    NoneType: st.none(),
    datetime: st.datetimes().map(lambda naive: naive.replace(fold=0, tzinfo=UTC)),
    date: st.dates(),
    time: st.times(),
    timedelta: st.timedeltas(),
    Path: st.sampled_from([Path("a.parquet"), Path("/x/\udcff"), Path()]),
    ZoneInfo: st.sampled_from(["UTC", "Europe/Dublin", "Asia/Kathmandu"]).map(ZoneInfo),
}


def any_of(kind: Any, depth: int = 0) -> st.SearchStrategy[Any]:
    """Make up any value of a type."""
    kind = getattr(kind, "__supertype__", kind)
    if kind in PLAIN:
        return PLAIN[kind]
    if isinstance(kind, type) and issubclass(kind, Enum):
        return st.sampled_from(kind)
    return _made_of(kind, depth) if is_dataclass(kind) else _composed(kind, depth)


def _made_of(kind: Any, depth: int) -> st.SearchStrategy[Any]:
    parts = {name: _later(of, depth + 1) for name, of in get_type_hints(kind).items()}
    return st.builds(kind, **parts)


def _later(kind: Any, depth: int) -> st.SearchStrategy[Any]:
    return st.deferred(lambda: any_of(kind, depth))


def _composed(kind: Any, depth: int) -> st.SearchStrategy[Any]:
    origin, parts = get_origin(kind), get_args(kind)
    if origin in {Union, UnionType}:
        return st.one_of([any_of(part, depth) for part in parts])
    if origin is frozenset:
        return st.frozensets(any_of(parts[0], depth), max_size=2)
    assert origin is tuple, f"a judged estate holds {kind}, of which this test knows nothing"
    if parts[-1] is Ellipsis:
        return st.lists(_later(parts[0], depth), max_size=2 if depth < 3 else 1).map(tuple)
    return st.tuples(*(any_of(part, depth) for part in parts))


def alike(one: object, other: object) -> bool:
    """Whether two values are equal and of the same types all the way down: equality asks for equal values alone."""
    if type(one) is not type(other):
        return False
    if is_dataclass(one):
        return all(alike(getattr(one, part.name), getattr(other, part.name)) for part in fields(one))
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(alike, one, other))
    return one == other


@given(any_of(JudgedEstate))
@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
def test_any_judged_estate_is_read_back_as_it_was(judged: JudgedEstate) -> None:
    assert alike(judged_form.read(judged_form.written(judged)), judged)
