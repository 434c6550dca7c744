"""Nights and weekly pages, the outbox of notices, and waivers. Going down loses them: the tables before hold none."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def _text(name: str, *, empty: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=empty)


def _instant(name: str, *, empty: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=empty)


def _number(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), nullable=False)


def _create(table: str, *columns: Any, unique: str | None = None) -> None:
    rules: list[sa.Constraint] = [sa.PrimaryKeyConstraint("id", name=f"pk_{table}")]
    if unique is not None:
        rules.append(sa.UniqueConstraint(unique, name=f"uq_{table}_{unique}"))
    op.create_table(table, _number("id"), *columns, *rules)


def upgrade() -> None:
    """Add what is new; nothing that was recorded changes."""
    _create(
        "nights",
        _text("night"),
        _instant("started"),
        _instant("finished", empty=True),
        *(_text(name, empty=True) for name in ("outcome", "detail")),
        sa.Column("audit", sa.Integer(), sa.ForeignKey("audits.id", name="fk_nights_audit_audits"), nullable=True),
        _number("missed"),
        _text("missed_since", empty=True),
        unique="night",
    )
    _create("summaries", _text("page_of"), _instant("made"), _text("file"), unique="page_of")
    _create(
        "outbox",
        *(_text(name) for name in ("target", "event", "kind")),
        *(_instant(name) for name in ("created", "not_before")),
        _number("tries"),
        _instant("last_try", empty=True),
        _text("last_error", empty=True),
        _instant("accepted", empty=True),
        _text("body"),
        unique="event",
    )
    _create(
        "waivers",
        *(_text(name) for name in ("finding", "who", "why")),
        *(_instant(name) for name in ("given", "until")),
        _text("body"),
        _instant("ended", empty=True),
        _text("ended_why", empty=True),
    )
    op.create_index("ix_outbox_accepted", "outbox", ["accepted", "not_before"])
    op.create_index("ix_waivers_finding", "waivers", ["finding"])


def downgrade() -> None:
    """Return to the tables before."""
    for table in ("waivers", "outbox", "summaries", "nights"):
        op.drop_table(table)
