"""The waiver that stands beside a finding, as JSON and back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from coverage_audit.judgement.verdict import Acceptance, Answer


def store_acceptance(acceptance: Acceptance) -> Mapping[str, Any]:
    """Return the stored form of a waiver beside its finding."""
    return {
        "who": acceptance.who,
        "why": acceptance.why,
        "given": acceptance.given.isoformat(),
        "until": acceptance.until.isoformat(),
        "answer": acceptance.answer.value,
    }


def load_acceptance(stored: Mapping[str, Any]) -> Acceptance:
    """Return the waiver beside a finding."""
    return Acceptance(
        who=stored["who"],
        why=stored["why"],
        given=datetime.fromisoformat(stored["given"]),
        until=datetime.fromisoformat(stored["until"]),
        answer=Answer(stored["answer"]),
    )
