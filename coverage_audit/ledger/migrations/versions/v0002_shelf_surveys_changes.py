"""Shelf drives, surveys, changes of the estate, and what comparisons left out.

A manifest may now be recorded outside any audit. Going down loses what the first tables have no place for:
the new tables, and such manifests together with the comparisons that rest on them.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_LEFT_OUT = (("left_out_files", sa.BigInteger()), ("left_out_bytes", sa.BigInteger()), ("left_out_by", sa.Text()))

_MANIFESTS = sa.table("manifests", sa.column("id"), sa.column("audit"))
_COMPARISONS = sa.table("comparisons", sa.column("original"), sa.column("copy"))
_OUTSIDE = sa.select(_MANIFESTS.c.id).where(_MANIFESTS.c.audit.is_(None))


def _text(name: str, *, empty: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=empty)


def _instant(name: str) -> sa.Column[Any]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=False)


def _refers(name: str, table: str, to: str, *, empty: bool = False) -> sa.Column[int]:
    key = sa.ForeignKey(f"{to}.id", name=f"fk_{table}_{name}_{to}")
    return sa.Column(name, sa.Integer(), key, nullable=empty)


def _create(table: str, *columns: Any, key: tuple[str, ...] = ("id",)) -> None:
    first = (sa.Column("id", sa.Integer(), nullable=False),) if key == ("id",) else ()
    op.create_table(table, *first, *columns, sa.PrimaryKeyConstraint(*key, name=f"pk_{table}"))


def upgrade() -> None:
    """Add what is new; nothing that was recorded changes."""
    with op.batch_alter_table("manifests") as manifests:
        manifests.alter_column("audit", existing_type=sa.Integer(), nullable=True)
    for name, kind in _LEFT_OUT:
        op.add_column("comparisons", sa.Column(name, kind, nullable=True))
    _create(
        "shelf_records",
        *(_text(name) for name in ("device", "volume")),
        sa.Column("path", sa.LargeBinary(), nullable=False),
        _refers("manifest", "shelf_records", "manifests"),
        _instant("at"),
        _text("host", empty=True),
        _text("facts"),
    )
    _create(
        "attachments",
        *(_text(name) for name in ("device", "volume", "host")),
        *(_instant(name) for name in ("since", "last")),
        key=("device", "volume"),
    )
    _create(
        "surveys",
        _refers("audit", "surveys", "audits", empty=True),
        *(_text(name) for name in ("device", "volume")),
        _instant("at"),
        _text("body"),
    )
    _create(
        "estate_events",
        _refers("audit", "estate_events", "audits", empty=True),
        _instant("at"),
        *(_text(name) for name in ("kind", "subject", "body")),
    )
    op.create_index("ix_shelf_records_place", "shelf_records", ["device", "volume", "path"])
    op.create_index("ix_surveys_volume", "surveys", ["device", "volume"])
    op.create_index("ix_estate_events_at", "estate_events", ["at"])


def downgrade() -> None:
    """Return to the first tables."""
    for table in ("estate_events", "surveys", "attachments", "shelf_records"):
        op.drop_table(table)
    op.execute(sa.delete(_COMPARISONS).where(_COMPARISONS.c.original.in_(_OUTSIDE) | _COMPARISONS.c.copy.in_(_OUTSIDE)))
    op.execute(sa.delete(_MANIFESTS).where(_MANIFESTS.c.audit.is_(None)))
    with op.batch_alter_table("comparisons") as comparisons:
        for name, _ in _LEFT_OUT:
            comparisons.drop_column(name)
    with op.batch_alter_table("manifests") as manifests:
        manifests.alter_column("audit", existing_type=sa.Integer(), nullable=False)
