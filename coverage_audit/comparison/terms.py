"""What a comparison is judged by, as the engine reads it: its constants, its types and its few definitions.

Every instant is nanoseconds since 1970 on the auditor's clock, but for mtimes: those are kept as the original's
box wrote them (the copy's with the zone shift added), for they are compared with each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from coverage_audit.comparison.types import Matched
from coverage_audit.evidence.difference import Mode, RowClass, RowVerdict
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.instants import span_ns, to_ns
from coverage_audit.evidence.manifest import Kind, Origin

FIRST_AUDIT_GRACE = timedelta(days=2)
"""How long the copy's last sign of work may decide for differences that a first audit met."""

NEW_FILE_SPAN = timedelta(seconds=60)
"""An mtime agrees that a file is new when it lies no further before its birth."""

_FARTHEST = 4 * 10**18  # about 2096; two of these can be subtracted within 64 bits


def _enum(values: type[RowClass | RowVerdict | Kind]) -> str:
    return ", ".join(f"'{value.value}'" for value in values)


_DEFINITIONS = (
    f"CREATE TYPE row_class AS ENUM ({_enum(RowClass)})",
    f"CREATE TYPE row_verdict AS ENUM ({_enum(RowVerdict)})",
    f"CREATE TYPE entry_kind AS ENUM ({_enum(Kind)})",
    f"CREATE TEMP MACRO within_reach(t) AS if(t IS NULL, NULL, greatest(least(t, {_FARTHEST}), -{_FARTHEST}))",
    """CREATE TEMP MACRO alike(kind_a, size_a, mtime_a, target_a, kind_b, size_b, mtime_b, target_b) AS coalesce(
        kind_a = kind_b AND CASE kind_a
            WHEN 'f' THEN size_a IS NOT DISTINCT FROM size_b AND (
                mtime_a IS NOT DISTINCT FROM mtime_b OR abs(mtime_a - mtime_b) < getvariable('granularity'))
            WHEN 'l' THEN target_a IS NOT DISTINCT FROM target_b
            ELSE true
        END, false)""",
    # Where a side shows no size or no time, nothing but the pairing itself can tell that a version is held.
    """CREATE TEMP MACRO holds(c_kind, c_size, c_mtime, c_target, o_kind, o_size, o_mtime, o_target) AS
        coalesce(c_kind = o_kind AND CASE c_kind
            WHEN 'f' THEN c_size = o_size AND abs(c_mtime - o_mtime) < getvariable('granularity')
            WHEN 'l' THEN c_target IS NOT DISTINCT FROM o_target
            ELSE true
        END, false) OR coalesce(
            getvariable('by_size') AND c_kind = 'f' AND o_kind = 'f' AND c_size = o_size
            AND o_mtime >= 0 AND c_mtime + getvariable('by_size_offset') >= o_mtime, false)""",
    # Files of one size whose times do not say which is the older: newer in the copy, or a time that no file can bear.
    # Where digests show that they differ, nothing is unclear.
    """CREATE TEMP MACRO unclear(class, o_kind, o_size, c_kind, c_size, hashed) AS coalesce(
        class IN ('newer', 'other') AND o_kind = 'f' AND c_kind = 'f' AND o_size = c_size AND NOT hashed, false)""",
    """CREATE TEMP MACRO before_by_far(mtime_a, mtime_b) AS
        coalesce(mtime_b - mtime_a >= getvariable('granularity'), false)""",
)


@dataclass(frozen=True, kw_only=True)
class Terms:
    """The constants of one comparison. Offsets are a box's clock minus the auditor's; None: not shown.

    `moment` is now, but never before the original was seen; `finished` is when its listing ended.
    """

    moment: int
    max_age: int
    mode: Mode
    started: int
    finished: int
    original_offset: int | None
    copy_offset: int | None

    @property
    def shift(self) -> int:
        """What is added to the copy's mtimes (ns)."""
        return span_ns(self.mode.shift)

    def in_auditor_time(self, box_ns: int, offset: int | None) -> int | None:
        """Return a box's instant by the auditor's clock; None where the offset is not known."""
        return None if offset is None else box_ns - offset


def terms_of(matched: Matched, now: datetime, max_age: timedelta) -> Terms:
    """Return the constants of this comparison."""
    origin = matched.original.origin
    return Terms(
        moment=max(to_ns(now), to_ns(origin.started)),
        max_age=span_ns(max_age),
        mode=matched.mode,
        started=to_ns(origin.started),
        finished=max(to_ns(origin.finished), to_ns(origin.started)),
        original_offset=offset_ns(origin),
        copy_offset=offset_ns(matched.copy.origin),
    )


def offset_ns(origin: Origin) -> int | None:
    """Return how far the box's clock was ahead of the auditor's when it was listed (ns), None if not shown."""
    return None if origin.clock_offset is None else span_ns(origin.clock_offset)


def define_types(engine: Engine) -> None:
    """Make the types and definitions known to a fresh engine."""
    for definition in _DEFINITIONS:
        engine.execute(definition)


def define(engine: Engine, terms: Terms) -> None:
    """Make the constants, types and definitions known to a fresh engine."""
    define_types(engine)
    tell(engine, "moment", terms.moment)
    tell(engine, "max_age", terms.max_age)
    tell(engine, "granularity", terms.mode.granularity_ns)
    tell(engine, "finished", terms.finished)
    tell(engine, "original_offset", terms.original_offset)
    tell(engine, "by_size_offset", terms.mode.offset_ns or 0)
    by_size = terms.mode.by_size and terms.mode.offset_ns is not None
    engine.execute(f"SET VARIABLE by_size = {str(by_size).lower()}")
    tell(engine, "keeps_times", int(terms.mode.times and not terms.mode.by_size))
    tell(engine, "times", int(terms.mode.times))


def tell(engine: Engine, name: str, value: int | None) -> None:
    """Set one whole-number constant of the engine."""
    engine.execute(f"SET VARIABLE {name} = ?::BIGINT", [value])


def ask(engine: Engine, sql: str) -> int:
    """Return a single whole number that a question answers with; nothing counts as 0."""
    answer = engine.query(sql).column(0)[0].as_py()
    return 0 if answer is None else int(answer)
