"""What is at stake: how much of a finding's dataset no copy holds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar

from coverage_audit.estate.model import DatasetId
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.difference import Exposure, Tally
from coverage_audit.judgement.verdict import Answer, JudgedEstate
from coverage_audit.judgement.wording import amount
from coverage_audit.ledger.outgoing import Lasting
from coverage_audit.ledger.record import Transition

NewsItem = Transition | Lasting
_N = TypeVar("_N", Transition, Lasting)


class Stakes:
    """How much is exposed in each dataset of an audit."""

    def __init__(self, judged: JudgedEstate) -> None:
        self._exposed: Mapping[DatasetId, Exposure | None] = {
            dataset.id: dataset.exposure for dataset in judged.datasets
        }

    def bytes_of(self, news: NewsItem) -> int:
        """Return the bytes exposed in the dataset of a finding; 0 where it has none."""
        exposed = self._exposed.get(news.dataset) if news.dataset is not None else None
        return exposed.bytes if exposed is not None else 0

    def most_first(self, listed: Iterable[_N]) -> list[_N]:
        """Order by bytes exposed, then what is not covered before what is unverified, then by name."""
        return sorted(
            listed,
            key=lambda one: (-self.bytes_of(one), one.answer is not Answer.NONCONFORMITY, one.finding.id),
        )

    def said_of(self, news: NewsItem) -> str:
        """Say it in a line: unknown as unknown, never as nothing; empty where it is no dataset of this audit's."""
        if news.dataset is None or news.dataset not in self._exposed:
            return ""
        exposed = self._exposed[news.dataset]
        if exposed is None:
            return "At stake: not known, what the copies hold could not be told"
        if not exposed.files:
            return "At stake: nothing, some copy holds every file"
        return f"At stake: {amount(Tally(files=exposed.files, bytes=exposed.bytes))} that no copy is proven to hold"

    def in_few_words(self, news: Iterable[NewsItem]) -> str:
        """Say how much is exposed in all datasets of these findings, empty where it is nothing that is known."""
        datasets = {one.dataset for one in news if one.dataset is not None}
        exposed = [found.bytes for name in datasets if (found := self._exposed.get(name)) is not None]
        return f"{format_size(sum(exposed))} at stake" if any(exposed) else ""
