"""What of the news concerns an address: it may have asked for the datasets of some policies alone."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

from coverage_audit.estate.model import Estate, NoticeTarget
from coverage_audit.ledger.outgoing import Lasting
from coverage_audit.ledger.record import Transition

_N = TypeVar("_N", Transition, Lasting)


def concerning(target: NoticeTarget, news: Iterable[_N], estate: Estate) -> list[_N]:
    """Return what concerns a target: all of the estate as a whole, and of the datasets those of its policies.

    A dataset that left the estate has no policy any more: its end is told to everybody.
    """
    if target.policies is None:
        return list(news)
    others = {dataset.id for dataset in estate.datasets if dataset.policy not in target.policies}
    return [one for one in news if one.dataset not in others]
