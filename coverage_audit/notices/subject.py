"""The subject line: who reads nothing else still knows what matters."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from zoneinfo import ZoneInfo

from coverage_audit.judgement.verdict import Answer, Conclusion, JudgedEstate
from coverage_audit.judgement.wording import cut, day, so_many
from coverage_audit.notices.at_stake import NewsItem, Stakes
from coverage_audit.notices.news import News

_NAMES = 3
_LONGEST_NAME = 40


def subject(judged: JudgedEstate, news: News, *, still_open: int) -> str:
    """Return one printable line, e.g. `Saltreach: field-recordings not covered (2 findings), 1 recovered`.

    Of what only lasts it tells in full where nothing fails anew: `field-recordings still not covered since 2026-11-03`.
    """
    stakes = Stakes(judged)
    said = [f"{_named(group)} {word} ({_weight(group, stakes)})" for word, group in _by_word(news.failing)]
    if news.failing and news.reminded:
        said.append(f"{len(news.reminded)} still open, told before")
    else:
        said += [
            f"{_named(group)} still {word} since {_since(group, judged)} ({_weight(group, stakes)})"
            for word, group in _by_word(news.reminded)
        ]
    said += _ended(news, alone=not said)
    if news.missed:
        said.append(news.missed.said)
    if not news.failing and not news.reminded:
        said.append(_remainder(judged, news, still_open))
    stamp = "[rehearsal] " if judged.rehearsal else ""
    return f"{stamp}{cut(judged.estate, _LONGEST_NAME)}: {', '.join(part for part in said if part)}"


def _ended(news: News, *, alone: bool) -> Iterator[str]:
    """Say what is not open any more: by its name where it is the only news."""
    if news.recovered:
        yield f"{len(news.recovered)} recovered"
    for word, ended in (("waived", news.waived), ("no longer asked for", news.gone)):
        if ended and alone and not news.recovered:
            yield f"{_named(ended)} {word} ({so_many(len(ended), 'finding')})"
        elif ended:
            yield f"{len(ended)} {word}"


def _by_word(news: Sequence[NewsItem]) -> list[tuple[str, list[NewsItem]]]:
    """Part what is not covered (with all that is open of it) from what is only unverified; the most at stake first."""
    worst = {_name(one) for one in news if one.answer is Answer.NONCONFORMITY}
    groups: dict[str, list[NewsItem]] = {}
    for one in news:
        groups.setdefault("not covered" if _name(one) in worst else "unverified", []).append(one)
    return list(groups.items())


def _weight(group: Sequence[NewsItem], stakes: Stakes) -> str:
    return ", ".join(filter(None, (so_many(len(group), "finding"), stakes.in_few_words(group))))


def _since(news: Sequence[NewsItem], judged: JudgedEstate) -> str:
    return day(min(one.since for one in news), ZoneInfo(judged.time_zone))


def _remainder(judged: JudgedEstate, news: News, still_open: int) -> str:
    if still_open:
        return f"{still_open} still open"
    if not judged.whole or judged.conclusion is not Conclusion.CONFORMING:
        return ""
    return "nothing else open" if judged.waived or news.waived else "all conforming"


def _name(news: NewsItem) -> str:
    return news.dataset or news.finding.subject


def _named(news: Sequence[NewsItem]) -> str:
    names = list(dict.fromkeys(_name(one) for one in news))
    if len(names) > _NAMES:
        return f"{len(names)} datasets or places"
    return ", ".join(cut(name, _LONGEST_NAME) for name in names)
