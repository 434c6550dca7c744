"""The weekly mail: what it says, and that all its forms say the same."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta
from html.parser import HTMLParser
from io import BytesIO

import pytest
from PIL import Image

from coverage_audit.estate.model import DatasetId, Estate
from coverage_audit.judgement.verdict import Answer, Conclusion, JudgedDataset, JudgedEstate
from coverage_audit.ledger.outgoing import OutgoingKind
from coverage_audit.ledger.past_record import LookBack
from coverage_audit.notices.message import Message
from coverage_audit.notices.palette import BAD, GOOD, HURT, PAPER, UNKNOWN, WARN
from coverage_audit.reports.situation import situation
from coverage_audit.reports.summary_mail import weekly_mail
from tests.builders.judged import NOW, a_copy, a_dataset, a_finding, address, an_estate, judged
from tests.builders.year_of_the_station import WEEK_FROM, Year, a_year_of_the_station

HOSTILE = "x\r\nBcc: thief@example.org\n\x1b[2J\u202e<script>alert(1)</script>\"'><img src=//leak onerror=x>\udcff字"


class Words(HTMLParser):
    """The words that a reader of HTML sees, what its pictures say, and every tag with its attributes."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.said: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._in_body = False
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._in_body |= tag == "body"
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if self._in_body:
            self.said += data.split()


def words_of(text: str) -> list[str]:
    """The words of a plain text: without its bullets and the rules beneath its titles."""
    return [word for word in text.split() if word != "*" and not set(word) <= {"-"}]


def mailed(year: Year, now: datetime = NOW, **parts: object) -> Message:
    told = {"judged": year.judged, "estate": year.estate, "back": year.back, **parts}
    return weekly_mail(
        told["judged"],  # type: ignore[arg-type]  # the parts are those of a year
        told["estate"],  # type: ignore[arg-type]  # as above
        told["back"],  # type: ignore[arg-type]  # as above
        since=year.since,
        week_from=WEEK_FROM,
        now=now,
    ).to()


@pytest.fixture(scope="module")
def year() -> Year:
    return a_year_of_the_station()


@pytest.fixture(scope="module")
def message(year: Year) -> Message:
    return mailed(year)


def fine(estate_name: str = "Saltreach Field Station") -> tuple[JudgedEstate, Estate]:
    copies = (a_copy(an_estate(), address("heron", "mirror/letters"), age=timedelta(hours=3), reason="whole"),)
    datasets = (a_dataset("letters", copies, findings=(a_finding("copies", "letters", Answer.CONFORMITY),)),)
    whole = replace(judged(datasets), estate=estate_name)
    return whole, replace(an_estate(datasets), name=estate_name)


def test_the_subject_alone_says_the_conclusion_what_is_worst_since_when_and_what_is_at_stake(message: Message) -> None:
    assert message.subject == (
        "Saltreach Field Station, the week: 2 of 12 not covered, 3 more unverified, 1 waiver, "
        "worst: herbarium-scans since 2026-11-14, at stake: 1 204 files, 3.4 GB"
    )
    assert message.kind is OutgoingKind.SUMMARY


def test_text_and_html_say_the_same(message: Message) -> None:
    assert Words(message.html).said == words_of(message.text)


def test_it_says_first_what_the_page_says_first_in_the_same_words(year: Year, message: Message) -> None:
    summed = situation(year.judged, year.since)
    text = message.text
    assert summed.sentence in text
    assert summed.basis in text
    places = [text.index(worry.finding.message) for worry in summed.worries]
    assert places == sorted(places)
    for worry in summed.worries:
        assert f"Do first: {worry.finding.mend}" in text
    titles = re.findall(r"^(.+)\n-+$", text, re.MULTILINE)
    assert titles == [
        "What is not as it must be",
        "What changed since last week",
        "What will run out next",
        "How far back you would fall",
        "The year",
    ]


def test_it_says_what_changed_what_is_due_and_how_far_back_one_would_fall(message: Message) -> None:
    for said in (
        "* recovered: moth-plates\n",
        "volume curlew:store was swapped (accepted by R. Byrne)",
        "by R. Byrne until 2026-12-13: “the new shelf drive is ordered”",
        "* no audit: 2026-11-21\n  it failed: No space left on device",
        "Fri 2026-12-11: Plug in shelf-b",
        "heron:pool, Field station: 13 months back (incomplete; at most 26 h)",
        "curlew:store, Long Barn: no proven point (unverified; at most 26 h)",
        "334 of 339 nights since 2025-12-22 had an audit of the whole estate; 5 had none and proved nothing.",
        "252 days conforming, 72 nonconforming, 15 without proof.",
        "Held by no copy: at most 3.4 GB, on 2026-11-25; on 19 days it was not known of every dataset.",
    ):
        assert said in message.text


def test_its_html_is_what_common_mail_programs_render(message: Message) -> None:
    tags = Words(message.html).tags
    plain = {"html", "head", "meta", "title", "body", "table", "tr", "td", "h1", "h2", "p", "div", "span", "b", "img"}
    assert {tag for tag, _ in tags} <= plain
    for _, attributes in tags:
        assert not {"class", "id", "href", "background", "onload", "onerror"} & set(attributes)
    assert all(attributes["src"] or "" for tag, attributes in tags if tag == "img")
    sources = [str(attributes["src"]) for tag, attributes in tags if tag == "img"]
    assert sources == [f"cid:{picture.name}" for picture in message.pictures]
    assert "url(" not in message.html
    assert "http" not in message.html
    assert len(message.html) < 102_000  # a widely used mail service cuts what is longer
    for tag, attributes in tags:  # a colour of letters never stands on paper of unknown colour
        if tag == "body" or attributes.get("bgcolor"):
            assert f"background-color:{attributes['bgcolor']}" in str(attributes["style"])


def test_each_picture_says_in_words_what_it_shows(message: Message) -> None:
    fallback, trend = message.pictures
    for said in (
        "herbarium-scans, nonconforming: curlew:store, Long Barn: 11 days back (stale; at most 26 h);",
        "maps",
    ):
        assert said in fallback.alt
    assert "252 days conforming, 72 nonconforming, 15 without proof." in trend.alt
    alts = [attributes["alt"] for tag, attributes in Words(message.html).tags if tag == "img"]
    assert alts == [fallback.alt, trend.alt]


def colours(png: bytes) -> set[str]:
    with Image.open(BytesIO(png)) as picture:
        drawn = picture.convert("RGB").getcolors(1 << 24) or []
    return {f"#{red:02x}{green:02x}{blue:02x}" for _, (red, green, blue) in drawn}  # type: ignore[misc]  # RGB


def test_the_pictures_are_small_lie_on_their_own_paper_and_show_every_standing(message: Message) -> None:
    fallback, trend = message.pictures
    assert {PAPER, GOOD, WARN, BAD, HURT, UNKNOWN} <= colours(fallback.png)
    assert {PAPER, GOOD, BAD, UNKNOWN} <= colours(trend.png)
    for picture in message.pictures:
        with Image.open(BytesIO(picture.png)) as opened:
            assert opened.format == "PNG"
            assert opened.width == 1080
            assert "transparency" not in opened.info
    assert len(fallback.png) + len(trend.png) < 150_000


def test_all_is_well_is_said_as_plainly(year: Year) -> None:
    whole, estate = fine()
    message = mailed(year, judged=whole, estate=estate, back=LookBack(since=NOW - timedelta(days=365), until=NOW))
    assert message.subject == "Saltreach Field Station, the week: 1 of 1 covered"
    assert "Nothing: every criterion holds, on proven copies." in message.text
    assert "No audit is on record." in message.text
    assert Words(message.html).said == words_of(message.text)
    assert message.short.startswith("Conforming: 1 dataset is covered as demanded.")


def test_where_all_is_well_the_subject_says_what_is_due_next(year: Year) -> None:
    whole, _ = fine()
    estate = replace(year.estate, datasets=an_estate(whole.datasets).datasets)
    subject = mailed(year, judged=whole, estate=estate).subject
    assert subject.endswith("1 of 1 covered, next: curlew reaches its usual service life in 17 days")


@pytest.mark.parametrize("age", [timedelta(days=6), -timedelta(hours=3)])
def test_an_old_audit_is_never_told_as_the_state_of_today(year: Year, age: timedelta) -> None:
    whole, estate = fine()
    message = mailed(year, now=whole.finished + age, judged=whole, estate=estate)
    assert "the last audit" in message.subject
    assert "then 1 of 1 covered" in message.subject
    assert message.text.index("The last audit") < message.text.index("What it found then: Conforming")
    assert "The last audit" in message.text.splitlines()[3]
    assert "when the audit ended: every criterion holds" in message.text
    assert Words(message.html).said == words_of(message.text)


def test_a_week_without_any_audit_is_told_as_unproven(year: Year) -> None:
    message = mailed(year, judged=None)
    assert "nothing is proven" in message.subject
    assert "nothing is proven" in message.text
    assert "nothing is proven" in message.short
    assert message.pictures == ()
    assert Words(message.html).said == words_of(message.text)
    assert "conforming" not in message.short.lower()


def test_a_dataset_declared_since_is_not_passed_over(year: Year) -> None:
    whole, _ = fine()
    message = mailed(year, judged=whole, now=whole.finished + timedelta(hours=1))
    assert "some not judged yet" in message.subject
    assert "declared since the last audit: nothing of them is proven" in message.text


def test_hostile_names_are_shown_and_do_not_act(year: Year) -> None:
    def hostile(dataset: JudgedDataset) -> JudgedDataset:
        findings = tuple(
            replace(each, subject=HOSTILE, message=HOSTILE, mend=HOSTILE, measured=HOSTILE) for each in dataset.findings
        )
        return replace(dataset, findings=findings)

    named = replace(year.judged, estate=HOSTILE, datasets=tuple(hostile(each) for each in year.judged.datasets))
    message = mailed(year, judged=named)
    assert message.subject.isprintable()
    assert len(message.subject) < 300
    assert all(line.isprintable() for form in (message.text, message.short) for line in form.splitlines())
    assert {tag for tag, _ in Words(message.html).tags} <= {tag for tag, _ in Words(mailed(year).html).tags}
    assert [attributes["src"] for tag, attributes in Words(message.html).tags if tag == "img"] == [
        "cid:fallback.png",
        "cid:year.png",
    ]
    assert Words(message.html).said == words_of(message.text)
    for form in (message.subject, message.text, message.html, message.short, *(one.alt for one in message.pictures)):
        assert form.encode()


def many(count: int) -> tuple[JudgedEstate, Estate]:
    copies = (a_copy(an_estate(), address("heron", "mirror/x"), age=timedelta(hours=3), reason="whole"),)
    datasets = tuple(
        a_dataset(
            f"set-{number:03}",
            copies,
            conclusion=Conclusion.NONCONFORMING,
            findings=tuple(a_finding(f"rule-{place}", f"set-{number:03}", message="long " * 60) for place in range(15)),
        )
        for number in range(count)
    )
    return judged(datasets), an_estate(datasets)


def test_of_300_datasets_the_worst_are_shown_and_the_rest_is_counted(year: Year) -> None:
    whole, estate = many(300)
    message = mailed(year, judged=whole, estate=estate)
    assert "and 292 more, on the page" in message.text
    assert "288 more datasets are on the page, of which 0 conform." in message.text
    assert len(message.html) < 102_000
    assert len(message.subject) < 200
    assert len(message.short) <= 900
    assert sum(len(picture.png) for picture in message.pictures) < 200_000


def test_names_that_the_font_does_not_have_are_numbered_as_in_the_table(year: Year) -> None:
    whole, _ = fine()
    odd = replace(whole.datasets[0], id=DatasetId("字幕"))
    estate = an_estate((odd,))
    message = mailed(year, judged=replace(whole, datasets=(odd,)), estate=estate)
    assert "* conforming: 1. 字幕" in message.text
    assert "字幕, conforming" in message.pictures[0].alt
