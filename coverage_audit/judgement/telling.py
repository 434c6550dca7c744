"""Sentences about the places of a dataset that several rules say alike."""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.counting import ORIGINAL
from coverage_audit.judgement.verdict import EvidenceItem, Standing
from coverage_audit.judgement.wording import joined


def uncounted(context: DatasetContext) -> str:
    """Say of each place that is not proven what it is and why (empty: all are proven).

    Its files are named by its own findings, not again in each count.
    """
    parts = [
        f"{holding.address} is {holding.standing} ({holding.reason.partition(': “')[0]})"
        for holding in context.holdings.places
        if holding.standing is not Standing.PROVEN
    ]
    return "; ".join(parts)


def with_uncounted(sentence: str, context: DatasetContext) -> str:
    """Add to a sentence what is not counted."""
    rest = uncounted(context)
    return f"{sentence}. Not counted: {rest}." if rest else f"{sentence}."


def places(numbers: Iterable[int], context: DatasetContext) -> str:
    """Name some places, the original as such."""
    return joined(_named(number, context) for number in numbers) or "none"


def standings(context: DatasetContext) -> tuple[EvidenceItem, ...]:
    """Return each place's standing as evidence of a count."""
    return tuple(
        EvidenceItem(
            what=f"{holding.standing}: {holding.reason}",
            where=str(holding.address),
            at=holding.seen_at,
            how="judged by all evidence of it",
        )
        for holding in context.holdings.places
    )


def _named(number: int, context: DatasetContext) -> str:
    address = str(context.holdings.places[number].address)
    if number != ORIGINAL:
        return address
    tree = context.original.evidence.tree
    stands_in = isinstance(tree, Gap) and tree.kind is GapKind.NOT_YET
    return f"{address} ({'in place of the original' if stands_in else 'the original'})"
