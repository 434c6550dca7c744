"""What is at stake: how much of a finding's dataset no copy holds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar

from coverage_audit.estate.model import DatasetId
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.difference import Exposure
from coverage_audit.judgement.verdict import Answer, JudgedEstate
from coverage_audit.ledger.outgoing import Lasting
from coverage_audit.ledger.record import Transition

NewsItem = Transition | Lasting
_N = TypeVar("_N", Transition, Lasting)


class Stakes:
    """How much is exposed in each dataset of an audit."""

    def __init__(self, judged: JudgedEstate) -> None:
        self._exposed: Mapping[DatasetId, Exposure] = {
            dataset.id: dataset.exposure for dataset in judged.datasets if dataset.exposure is not None
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
        """Say it in a line, empty where nothing is exposed."""
        exposed = self._exposed.get(news.dataset) if news.dataset is not None else None
        if exposed is None or not exposed.files:
            return ""
        files = "1 file" if exposed.files == 1 else f"{exposed.files} files"
        return f"At stake: {files}, {format_size(exposed.bytes)}, that no copy with valid evidence holds"
