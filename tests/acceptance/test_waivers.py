"""Waivers through the real command and over nights: visible, counted, awake when it gets worse or their time ends."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.audits.audit import Audited
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, Standing
from coverage_audit.ledger.record import TransitionKind
from coverage_audit.reports.situation import situation
from coverage_audit.wiring import wall_clock
from tests.builders.two_places import two_places
from tests.parts.station import Station, copy_of, dataset_of

DAY = timedelta(days=1)
TAKES = 30
WHY = "the new drive is ordered"


@pytest.fixture
def kept_up(station: Station) -> Station:
    station.declare(two_places())
    for number in range(TAKES):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(20_000 + number), age=timedelta(days=40 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def lose_most(station: Station) -> None:
    """Take more than half of the files from the copy: that is no backlog, whatever their age."""
    for number in range(20):
        (station.root / f"heron/recordings/take-{number}.wav").unlink()


def in_days(days: int) -> str:
    """A day from now, as the command reads it."""
    return f"{(wall_clock() + days * DAY).astimezone(ZoneInfo('Europe/Dublin')).date()}"


def open_in(found: dict[str, Any]) -> list[str]:
    every = [*found["findings"], *(f for dataset in found["datasets"] for f in dataset["findings"])]
    return [f["id"] for f in every if f["answer"] in {"nonconformity", "unverified"}]


def waive(station: Station, finding: str, *, until: str | None = None, who: str = "Aoife") -> None:
    ran = station.command("waive", finding, "--until", until or in_days(20), "--why", WHY, "--who", who)
    assert (ran.status, ran.err) == (0, "")


def stopped(station: Station, days: int) -> Audited:
    """Let the original go on without its copy."""
    audited = station.night()
    for _ in range(days):
        station.pass_time(DAY)
        stamp = f"{station.now():%m-%d}"
        station.write(f"kestrel/recordings/new-{stamp}.wav", bytes(300), age=timedelta(hours=3))
        audited = station.night()
    return audited


def failing(audited: Audited) -> list[str]:
    return [f.id for f in dataset_of(audited, "field-recordings").findings if f.answer is Answer.NONCONFORMITY]


def finding(audited: Audited, name: str) -> Finding:
    every = [*audited.judged.findings, *(f for dataset in audited.judged.datasets for f in dataset.findings)]
    return next(each for each in every if each.id == name)


def all_waived(station: Station, days: int = 5) -> list[str]:
    """Waive all that fails of a copy that stopped, by the command."""
    names = failing(stopped(station, days))
    assert len(names) == 2
    for name in names:
        waive(station, name)
    return names


def test_what_is_waived_by_the_command_lets_it_conform_and_is_said_everywhere(kept_up: Station) -> None:
    lose_most(kept_up)
    before = kept_up.command("audit", "--json")
    names = open_in(before.object)
    assert before.status == 1
    assert len(names) == 2

    waive(kept_up, names[0])
    pending = kept_up.command("explain", names[0])
    assert f"Waived by Aoife until {in_days(20)}: “{WHY}”. The next audit" in " ".join(pending.out.split())
    half = kept_up.command("audit", "--json")
    assert half.status == 1
    assert open_in(half.object) == [names[1]]
    assert half.object["waived"] == 1

    waive(kept_up, names[1])
    page = kept_up.root / "page.html"
    after = kept_up.command("audit", "--html", str(page))
    assert after.status == 0
    assert "with 2 waivers." in " ".join(after.out.split())
    assert after.out.count("Waived until") == 2
    assert "with 2 waivers." in page.read_text()
    assert page.read_text().count(f"by Aoife: “{WHY}”") >= 2

    shown = " ".join(kept_up.command("explain", names[0]).out.split())
    assert f"Who: Aoife, at {wall_clock():%Y-%m-%d}" in shown
    assert f"Why: {WHY} Until: the end of {in_days(20)}" in shown
    assert "Without it the answer would be: nonconformity." in shown

    listed = kept_up.command("waive", "--list").out
    assert [line for line in listed.splitlines() if line and not line.startswith(" ")] == names


def test_a_waiver_that_its_owner_ends_counts_no_more(kept_up: Station) -> None:
    lose_most(kept_up)
    names = open_in(kept_up.command("audit", "--json").object)
    for name in names:
        waive(kept_up, name)
    assert kept_up.command("audit").status == 0

    ended = kept_up.command("waive", names[0], "--end", "--who", "Brid")
    assert ended.status == 0
    found = kept_up.command("audit", "--json")
    assert found.status == 1
    assert open_in(found.object) == [names[0]]
    listed = kept_up.command("waive", "--list").out
    assert "Ended lately:" in listed
    assert "ended by Brid." in listed
    again = kept_up.command("waive", names[0], "--end")
    assert again.status == 64
    assert "no waiver stands for" in again.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("NAME", "--why", WHY), "say until when and why"),
        (("NAME", "--until", "+1"), "say until when and why"),
        (("NAME", "--until", "+0", "--why", WHY), "is not to come"),
        (("NAME", "--until", "-3", "--why", WHY), "is not to come"),
        (("NAME", "--until", "+380", "--why", WHY), "a year at most"),
        (("NAME", "--until", "soon", "--why", WHY), "'soon' is no date"),
        (("NAME", "--until", "+1", "--why", " \n"), "--why: say it in words"),
        (("NAME", "--until", "+1", "--why", WHY, "--who", ""), "--who: say it in words"),
        (("NAME", "--until", "+1", "--why", "x" * 501), "--why: at most 500 characters"),
        (("enough-copys:field-recordings", "--until", "+1", "--why", WHY), "did you mean 'enough-copies:field"),
        (("every-dataset:estate", "--until", "+1", "--why", WHY), "nothing to waive"),
        (("NAME", "--end"), "no waiver stands for"),
        (("--list", "--end"), "--list stands alone"),
        (("--until", "+1", "--why", WHY), "name the finding"),
    ],
)
def test_what_is_no_waiver_is_refused_with_what_to_do(kept_up: Station, words: tuple[str, ...], said: str) -> None:
    lose_most(kept_up)
    kept_up.night()
    typed = [in_days(int(w)) if w[:1] in "+-" and w[1:].isdigit() else w for w in words]
    typed = ["enough-copies:field-recordings" if w == "NAME" else w for w in typed]

    ran = kept_up.command("waive", *typed)

    assert ran.status == 64
    assert said in ran.err
    assert kept_up.command("waive", "--list").out == "No finding is waived.\n"


def test_a_day_a_year_ahead_is_the_last(kept_up: Station) -> None:
    lose_most(kept_up)
    kept_up.night()
    today = datetime.fromisoformat(in_days(0)).date()
    last = today.replace(year=today.year + 1) if (today.month, today.day) != (2, 29) else today + 365 * DAY
    waive(kept_up, "enough-copies:field-recordings", until=f"{last}")


def test_a_damaged_copy_cannot_be_waived_nor_the_count_that_fails_by_it(kept_up: Station) -> None:
    kept_up.night()
    kept_up.pass_time(DAY)
    kept_up.write("heron/recordings/take-3.wav", b"\xff" * 20_003, age=timedelta(hours=1))
    audited = kept_up.night()
    assert copy_of(audited, "field-recordings").standing is Standing.DAMAGED
    assert len(failing(audited)) == 2

    for name in failing(audited):
        ran = kept_up.command("waive", name, "--until", in_days(3), "--why", WHY)
        assert ran.status == 64
        assert "damaged content, and another volume than the one pinned, are never accepted" in ran.err


def test_a_copy_that_is_damaged_while_it_is_waived_wakes_the_waiver(kept_up: Station) -> None:
    names = all_waived(kept_up)
    assert kept_up.night().judged.conclusion is Conclusion.CONFORMING
    kept_up.pass_time(DAY)
    kept_up.write("heron/recordings/take-3.wav", b"\xff" * 20_003, age=timedelta(hours=1))

    audited = kept_up.night()

    assert copy_of(audited, "field-recordings").standing is Standing.DAMAGED
    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    assert finding(audited, names[0]).answer is not Answer.WAIVED


def test_a_stopped_copy_sleeps_night_by_night_until_the_last_day_is_over(kept_up: Station) -> None:
    names = all_waived(kept_up)
    end = datetime.fromisoformat(in_days(21)).replace(tzinfo=kept_up.estate.time_zone)
    last_moment = end - timedelta(minutes=10)
    for moment in (kept_up.now() + DAY, kept_up.now() + 9 * DAY, last_moment):
        kept_up.ahead = moment - wall_clock()
        audited = kept_up.night()
        assert audited.judged.conclusion is Conclusion.CONFORMING
        assert situation(audited.judged, {}).sentence.endswith("covered as demanded, with 2 waivers.")

    kept_up.ahead = end + timedelta(seconds=1) - wall_clock()
    audited = kept_up.night()
    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    assert audited.judged.waived == 0
    assert "that does not hold: its time has ended" in finding(audited, names[0]).message
    begun = {change.finding.id for change in audited.recorded.transitions if change.kind is TransitionKind.BEGUN}
    assert begun == set(names)
    kept_up.pass_time(DAY)
    assert kept_up.night().judged.conclusion is Conclusion.NONCONFORMING
    assert "its time has ended" in kept_up.command("waive", "--list").out


def test_a_hole_that_grows_wakes_it_and_mending_that_puts_it_to_sleep_no_more(kept_up: Station) -> None:
    kept_up.night()
    kept_up.pass_time(DAY)
    lost = kept_up.root / "heron/recordings/take-0.wav"
    lost.unlink()
    names = failing(kept_up.night())
    for name in names:
        waive(kept_up, name)
    kept_up.pass_time(DAY)
    assert kept_up.night().judged.conclusion is Conclusion.CONFORMING

    (kept_up.root / "heron/recordings/take-1.wav").unlink()
    kept_up.pass_time(DAY)
    worse = kept_up.night()
    completeness = next(name for name in names if name.startswith("completeness:"))
    assert worse.judged.conclusion is Conclusion.NONCONFORMING
    assert "that does not hold: it is worse now (2 files" in finding(worse, completeness).message

    kept_up.write("heron/recordings/take-1.wav", bytes(20_001), age=timedelta(days=41) + 2 * DAY)
    kept_up.mirror("kestrel/recordings", "heron/recordings", "--exclude=take-0.wav")
    kept_up.pass_time(DAY)
    assert completeness in failing(kept_up.night())


def test_much_more_that_no_copy_holds_wakes_it(kept_up: Station) -> None:
    all_waived(kept_up)
    assert kept_up.night().judged.conclusion is Conclusion.CONFORMING
    kept_up.write("kestrel/recordings/the-whole-week.wav", bytes(90_000), age=timedelta(hours=1))
    kept_up.pass_time(timedelta(minutes=10))

    audited = kept_up.night()

    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    assert "that does not hold: no copy holds" in finding(audited, failing(audited)[0]).message


def test_a_waiver_goes_along_when_its_dataset_is_renamed(kept_up: Station) -> None:
    names = all_waived(kept_up)
    assert kept_up.night().judged.waived == 2
    text = kept_up.estate_file.read_text()
    kept_up.estate_file.write_text(
        text.replace("  field-recordings:\n", "  tapes:\n    formerly: [field-recordings]\n")
    )

    for _ in range(2):
        audited = kept_up.night()
        assert (audited.judged.conclusion, audited.judged.waived) == (Conclusion.CONFORMING, 2)
        kept_up.pass_time(DAY)

    listed = kept_up.command("waive", "--list").out.splitlines()
    renamed = [name.replace("field-recordings", "tapes", 1) for name in names]
    assert [line for line in listed if line and not line.startswith(" ")] == renamed


def test_a_waiver_for_what_left_the_estate_is_reported(kept_up: Station) -> None:
    names = all_waived(kept_up)
    text = kept_up.estate_file.read_text()
    kept_up.estate_file.write_text(text.replace("  field-recordings:\n", "  tapes:\n"))

    audited = kept_up.night()

    for name in names:
        report = finding(audited, f"waivers:{name}")
        assert report.answer is Answer.OBSERVATION
        assert "no audit answers it any more" in report.message
    shown = kept_up.command("explain", f"waivers:{names[0]}")
    assert "Waivers: what an owner accepted for a while" in " ".join(shown.out.split())


def test_a_copy_that_is_mended_is_proven_and_its_waiver_reported_after_a_month(kept_up: Station) -> None:
    names = failing(stopped(kept_up, 5))
    for name in names:
        waive(kept_up, name, until=in_days(200))
    reported = []
    for _ in range(12):
        kept_up.mirror("kestrel/recordings", "heron/recordings")
        audited = kept_up.night()
        assert (audited.judged.conclusion, audited.judged.waived) == (Conclusion.CONFORMING, 0)
        reported.append([f.id for f in audited.judged.findings if f.rule == "waivers"])
        kept_up.pass_time(3 * DAY)

    assert reported[:10] == [[]] * 10
    assert {*reported[10]} == {f"waivers:{name}" for name in names}


def test_a_waived_finding_is_told_as_waived_and_the_json_says_who(kept_up: Station) -> None:
    names = all_waived(kept_up)
    audited = kept_up.night()
    ends = {c.finding.id: c for c in audited.recorded.transitions if c.kind is TransitionKind.ENDED}

    assert set(ends) == set(names)
    assert not any(change.recovered for change in ends.values())
    assert {change.answer for change in ends.values()} == {Answer.WAIVED}


def test_the_json_says_of_a_waived_finding_who_and_why_and_until(kept_up: Station) -> None:
    lose_most(kept_up)
    for name in open_in(kept_up.command("audit", "--json").object):
        waive(kept_up, name)
    found = json.loads(kept_up.command("audit", "--json").out)

    waived = [f for dataset in found["datasets"] for f in dataset["findings"] if f["answer"] == "waived"]
    assert len(waived) == found["waived"] == found["datasets"][0]["waived"] == 2
    assert {(f["waiver"]["who"], f["waiver"]["why"], f["waiver"]["answer"]) for f in waived} == {
        ("Aoife", WHY, "nonconformity")
    }
    assert all(f["waiver"] is None for f in found["findings"])


@pytest.mark.usefixtures("postgresql_server")
def test_the_same_on_postgresql(kept_up: Station, postgresql_url: str) -> None:
    database = {"COVERAGE_AUDIT_DATABASE": postgresql_url}
    lose_most(kept_up)
    names = open_in(kept_up.command("audit", "--json", environment=database).object)
    for name in names:
        ran = kept_up.command("waive", name, "--until", in_days(3), "--why", WHY, environment=database)
        assert ran.status == 0, ran.err

    assert kept_up.command("audit", environment=database).status == 0
    ended = kept_up.command("waive", names[0], "--end", environment=database)
    assert ended.status == 0
    assert kept_up.command("audit", environment=database).status == 1
