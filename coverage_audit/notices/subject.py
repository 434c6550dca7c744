"""The subject line: who reads nothing else still knows what matters."""

from __future__ import annotations

from collections.abc import Sequence

from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Answer, Conclusion, JudgedEstate
from coverage_audit.ledger.record import Transition

_NAMES = 3
_LONGEST_NAME = 40


def subject(
    judged: JudgedEstate, failing: Sequence[Transition], recovered: Sequence[Transition], *, still_open: int
) -> str:
    """Return one printable line, e.g. `Saltreach: field-recordings not covered (2 findings), 1 recovered`."""
    said = []
    worst = {_name(change) for change in failing if change.answer is Answer.NONCONFORMITY}
    for word, group in (
        ("not covered", [change for change in failing if _name(change) in worst]),
        ("unverified", [change for change in failing if _name(change) not in worst]),
    ):
        if group:
            said.append(f"{_named(group)} {word} ({_count(len(group), 'finding')})")
    if recovered:
        said.append(f"{len(recovered)} recovered")
    if not failing:
        said.append(_remainder(judged, still_open))
    stamp = "[rehearsal] " if judged.rehearsal else ""
    return f"{stamp}{_short(judged.estate)}: {', '.join(part for part in said if part)}"


def _remainder(judged: JudgedEstate, still_open: int) -> str:
    if still_open:
        return f"{still_open} still open"
    return "all conforming" if judged.whole and judged.conclusion is Conclusion.CONFORMING else ""


def _name(change: Transition) -> str:
    return change.dataset or change.finding.subject


def _named(changes: Sequence[Transition]) -> str:
    names = list(dict.fromkeys(_name(change) for change in changes))
    if len(names) > _NAMES:
        return f"{len(names)} datasets or places"
    return ", ".join(_short(name) for name in names)


def _short(name: str) -> str:
    shown = visible(name)
    return shown if len(shown) <= _LONGEST_NAME else f"{shown[: _LONGEST_NAME - 1]}…"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
