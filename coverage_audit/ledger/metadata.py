"""What all tables have in common: how constraints are named, and the column that refers to an audit."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Integer, MetaData

METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(column_0_label)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def of_audit(*, nullable: bool = False) -> Column[int]:
    """Return the column that names an audit."""
    return Column("audit", Integer, ForeignKey("audits.id"), nullable=nullable)
