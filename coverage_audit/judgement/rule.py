"""What a rule is: a record with its documentation, beside a pure function that gives findings."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One rule. `doc` is the rule file's own docstring: what it asks, why, how to mend, the control.

    `control` is the published control for which the rule supports evidence. `waivable` is False for what
    no owner can accept: content and identity.
    """

    id: str
    title: str
    control: str
    doc: str
    waivable: bool = True


def supports(control: str) -> str:
    """Say which published control a rule's findings support evidence for; never that it is complied with."""
    return f"supports evidence for {control}"
