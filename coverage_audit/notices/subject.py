"""The subject line: who reads nothing else still knows what matters."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Answer, Conclusion, JudgedEstate
from coverage_audit.ledger.outgoing import Lasting
from coverage_audit.ledger.record import Transition
from coverage_audit.notices.at_stake import NewsItem

_NAMES = 3
_LONGEST_NAME = 40


def subject(
    judged: JudgedEstate,
    failing: Sequence[Transition],
    recovered: Sequence[Transition],
    *,
    reminded: Sequence[Lasting] = (),
    still_open: int,
) -> str:
    """Return one printable line, e.g. `Saltreach: field-recordings not covered (2 findings), 1 recovered`.

    Of what only lasts it tells in full where nothing fails anew: `field-recordings still not covered since 2026-11-03`.
    """
    said = [f"{_named(group)} {word} ({_count(len(group), 'finding')})" for word, group in _by_word(failing)]
    if failing and reminded:
        said.append(f"{len(reminded)} still open, told before")
    elif reminded:
        said += [
            f"{_named(group)} still {word} since {_since(group, judged)} ({_count(len(group), 'finding')})"
            for word, group in _by_word(reminded)
        ]
    if recovered:
        said.append(f"{len(recovered)} recovered")
    if not failing and not reminded:
        said.append(_remainder(judged, still_open))
    stamp = "[rehearsal] " if judged.rehearsal else ""
    return f"{stamp}{_short(judged.estate)}: {', '.join(part for part in said if part)}"


def _by_word(news: Sequence[NewsItem]) -> list[tuple[str, list[NewsItem]]]:
    """Part what is not covered (with all that is open of it) from what is only unverified; the most at stake first."""
    worst = {_name(one) for one in news if one.answer is Answer.NONCONFORMITY}
    groups: dict[str, list[NewsItem]] = {}
    for one in news:
        groups.setdefault("not covered" if _name(one) in worst else "unverified", []).append(one)
    return list(groups.items())


def _since(news: Sequence[NewsItem], judged: JudgedEstate) -> str:
    return f"{min(one.since for one in news).astimezone(ZoneInfo(judged.time_zone)):%Y-%m-%d}"


def _remainder(judged: JudgedEstate, still_open: int) -> str:
    if still_open:
        return f"{still_open} still open"
    return "all conforming" if judged.whole and judged.conclusion is Conclusion.CONFORMING else ""


def _name(news: NewsItem) -> str:
    return news.dataset or news.finding.subject


def _named(news: Sequence[NewsItem]) -> str:
    names = list(dict.fromkeys(_name(one) for one in news))
    if len(names) > _NAMES:
        return f"{len(names)} datasets or places"
    return ", ".join(_short(name) for name in names)


def _short(name: str) -> str:
    shown = visible(name)
    return shown if len(shown) <= _LONGEST_NAME else f"{shown[: _LONGEST_NAME - 1]}…"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
