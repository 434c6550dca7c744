"""The first tables.

Times are UTC, paths are bytes, JSON is ASCII text. Names of constraints follow the convention of
`coverage_audit.ledger.tables`, which a later change needs in order to find them.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def _text(name: str, *rest: Any, empty: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), *rest, nullable=empty)


def _path(name: str) -> sa.Column[bytes]:
    return sa.Column(name, sa.LargeBinary(), nullable=False)


def _instant(name: str, *, empty: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=empty)


def _number(name: str, *, empty: bool = False) -> sa.Column[int]:
    return sa.Column(name, sa.BigInteger(), nullable=empty)


def _flag(name: str) -> sa.Column[bool]:
    return sa.Column(name, sa.Boolean(), nullable=False)


def _refers(name: str, table: str, to: str, *, empty: bool = False) -> sa.Column[int]:
    key = sa.ForeignKey(f"{to}.id", name=f"fk_{table}_{name}_{to}")
    return sa.Column(name, sa.Integer(), key, nullable=empty)


def _create(table: str, *columns: Any, key: tuple[str, ...] = (), unique: tuple[str, ...] = ()) -> None:
    rules: list[sa.Constraint] = []
    if key:
        rules.append(sa.PrimaryKeyConstraint(*key, name=f"pk_{table}"))
    if unique:
        rules.append(sa.UniqueConstraint(*unique, name=f"uq_{table}_{'_'.join(unique)}"))
    op.create_table(table, *columns, *rules)


def _id() -> sa.Column[int]:
    return sa.Column("id", sa.Integer(), nullable=False)


def upgrade() -> None:
    """Create all tables."""
    _create("state", _id(), _text("seed_digest"), key=("id",))
    _create("estate_texts", _text("digest"), _text("text"), key=("digest",))
    _audits()
    _findings()
    _facts()
    _files()
    op.create_index("ix_judged_copies_audit", "judged_copies", ["audit"])
    op.create_index("ix_transitions_finding", "transitions", ["finding"])
    op.create_index("ix_transitions_audit", "transitions", ["audit"])
    op.create_index("ix_gaps_audit", "gaps", ["audit"])
    op.create_index("ix_pins_device", "pins", ["device", "volume"])
    op.create_index("ix_manifests_place", "manifests", ["device", "volume", "path"])
    op.create_index("ix_comparisons_pair", "comparisons", ["dataset", "device", "volume", "path"])


def _audits() -> None:
    _create(
        "audits",
        _id(),
        _instant("started"),
        _instant("finished"),
        _text("estate"),
        _text("estate_text", sa.ForeignKey("estate_texts.digest", name="fk_audits_estate_text_estate_texts")),
        _text("time_zone"),
        _text("conclusion"),
        _flag("rehearsal"),
        _flag("whole"),
        sa.Column("waived", sa.Integer(), nullable=False),
        key=("id",),
    )
    _create(
        "judged_datasets",
        _refers("audit", "judged_datasets", "audits"),
        *(_text(name) for name in ("dataset", "policy", "conclusion")),
        sa.Column("waived", sa.Integer(), nullable=False),
        _text("original_standing"),
        _instant("original_at", empty=True),
        *(_number(f"original_{what}", empty=True) for what in ("files", "bytes")),
        *(_number(f"exposed_{what}", empty=True) for what in ("files", "bytes")),
        _instant("exposed_since", empty=True),
        unique=("audit", "dataset"),
    )
    _create(
        "judged_copies",
        _refers("audit", "judged_copies", "audits"),
        _text("dataset"),
        _path("address"),
        _text("standing"),
        _text("proof"),
        _instant("recovery_point", empty=True),
        _text("reason"),
        *(_number(f"{how}_{what}", empty=True) for how in ("missing", "changed") for what in ("files", "bytes")),
    )


def _findings() -> None:
    _create(
        "findings",
        _text("finding"),
        _text("dataset", empty=True),
        _text("answer"),
        _instant("since", empty=True),
        _flag("current"),
        _text("conclusion"),
        _refers("audit", "findings", "audits"),
        _text("body"),
        key=("finding",),
    )
    _create(
        "transitions",
        _id(),
        _refers("audit", "transitions", "audits"),
        _text("finding"),
        _text("dataset", empty=True),
        _text("kind"),
        _text("answer", empty=True),
        _instant("since"),
        _text("body"),
        key=("id",),
    )
    _create("notice_targets", _text("name"), _instant("since"), key=("name",))
    _create(
        "deliveries",
        _refers("transition", "deliveries", "transitions"),
        _text("target"),
        _instant("at"),
        key=("transition", "target"),
    )


def _facts() -> None:
    _create(
        "gaps",
        _refers("audit", "gaps", "audits"),
        *(_text(name) for name in ("subject", "kind", "detail")),
        _instant("at"),
    )
    _create(
        "device_facts",
        _refers("audit", "device_facts", "audits"),
        _text("device"),
        _instant("at"),
        _text("body"),
        unique=("device", "audit"),
    )
    _create(
        "volume_facts",
        _refers("audit", "volume_facts", "audits"),
        _text("device"),
        _text("volume"),
        _instant("at"),
        *(_number(name, empty=True) for name in ("capacity", "free")),
        _text("body"),
        unique=("device", "volume", "audit"),
    )
    _create(
        "points",
        _text("device"),
        _text("volume"),
        _path("path"),
        _refers("audit", "points", "audits"),
        _instant("at"),
        _text("body"),
        key=("device", "volume", "path"),
    )
    _create(
        "pins",
        _id(),
        _text("device"),
        _text("volume"),
        _text("facts"),
        _instant("pinned"),
        _text("who"),
        _instant("replaced", empty=True),
        key=("id",),
    )


def _files() -> None:
    _create(
        "manifests",
        _id(),
        _refers("audit", "manifests", "audits"),
        *(_text(name) for name in ("device", "volume")),
        *(_path(name) for name in ("path", "own_path")),
        _instant("started"),
        *(_flag(name) for name in ("complete", "trusted")),
        *(_number(name) for name in ("files", "bytes")),
        _text("file", empty=True),
        key=("id",),
        unique=("file",),
    )
    _create(
        "comparisons",
        _id(),
        _refers("audit", "comparisons", "audits"),
        *(_text(name) for name in ("dataset", "device", "volume")),
        _path("path"),
        _refers("original", "comparisons", "manifests"),
        _refers("copy", "comparisons", "manifests", empty=True),
        _text("relation", empty=True),
        _instant("first_at"),
        _instant("last_progress", empty=True),
        _number("gone_unheld"),
        _instant("pending_since", empty=True),
        key=("id",),
    )


def downgrade() -> None:
    """Drop all tables."""
    for table in (
        "deliveries", "notice_targets", "comparisons", "manifests", "pins", "points", "volume_facts",
        "device_facts", "gaps", "transitions", "findings", "judged_copies", "judged_datasets", "audits",
        "estate_texts", "state",
    ):  # fmt: skip
        op.drop_table(table)
