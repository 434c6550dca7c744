"""What a rule is: a record with its documentation, beside a pure function that gives findings."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One rule. `doc` is the rule file's own docstring: what it asks, why, how to mend, the control.

    `control` is the published control for which the rule supports evidence. `waivable` is False where
    none of its findings can be waived; one that tells of damage or of another volume never can, whatever its rule.
    """

    id: str
    title: str
    control: str
    doc: str
    waivable: bool = True


def supports(control: str) -> str:
    """Say which published control a rule's findings support evidence for; never that it is complied with."""
    return f"supports evidence for {control}"
