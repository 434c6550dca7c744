"""Ways in which a report says "covered" while it is not: what was left out, matched nothing, or was never judged."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from coverage_audit.judgement.verdict import Answer, Conclusion, Standing
from tests.acceptance.test_a_mirror_that_stopped import ESTATE
from tests.parts.station import Ran, Station, copy_of, dataset_of


@pytest.fixture
def recorded(station: Station) -> Station:
    for number in range(20):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    for number in range(3):
        station.write(f"kestrel/recordings/scratch-{number}.tmp", bytes(1_000))
    station.mirror("kestrel/recordings", "heron/recordings", "--exclude=*.tmp")
    station.declare(ESTATE)
    return station


def leaving_out(station: Station, *patterns: str) -> None:
    """Declare patterns that leave files of the dataset out."""
    listed = ", ".join(f'"{pattern}"' for pattern in patterns)
    station.estate_file.write_text(f"{station.estate_file.read_text().rstrip()}\n    leave_out: [{listed}]\n")


def said(ran: Ran) -> str:
    """What a command printed, its lines joined."""
    return " ".join(ran.out.split())


def test_what_is_left_out_is_counted_and_said_in_every_output(recorded: Station) -> None:
    leaving_out(recorded, "*.tmp")

    as_json = recorded.command("audit", "--json", "--html", str(recorded.root / "page.html"))

    (copy,) = as_json.object["datasets"][0]["copies"]
    assert as_json.status == 0
    assert copy["left_out"] == {"files": 3, "bytes": 3_000}
    words = "left out on purpose: 3 files (3.0 kB) (*.tmp 3 files (3.0 kB))"
    assert any(words in remark for remark in copy["remarks"])
    assert words in said(recorded.command("audit"))
    assert words in (recorded.root / "page.html").read_text()


def test_without_the_pattern_the_same_files_are_missing(recorded: Station) -> None:
    assert copy_of(recorded.night(), "field-recordings").standing is not Standing.PROVEN


def test_a_pattern_that_matches_nothing_is_said_to(recorded: Station) -> None:
    leaving_out(recorded, "*.tmp", "*.tpm")

    remarks = copy_of(recorded.night(), "field-recordings").remarks

    assert any("*.tpm nothing" in remark for remark in remarks)


def test_a_lone_pattern_that_matches_nothing_is_said_to(recorded: Station) -> None:
    for file in (recorded.root / "kestrel/recordings").glob("*.tmp"):
        file.unlink()
    leaving_out(recorded, "*.tpm")

    audited = recorded.night()

    assert audited.judged.conclusion is Conclusion.CONFORMING
    assert any("*.tpm nothing" in remark for remark in copy_of(audited, "field-recordings").remarks)


@pytest.mark.parametrize("place", ["kestrel/recordings", "kestrel/recordigns"])
def test_zero_of_zero_files_are_not_covered(station: Station, place: str) -> None:
    station.declare(ESTATE.replace("kestrel:main/recordings", "kestrel:main/recordigns"))
    (station.root / place).mkdir(parents=True)
    (station.root / "heron/recordings").mkdir(parents=True)

    audited = station.night()

    assert dataset_of(audited, "field-recordings").original.standing is Standing.UNVERIFIED
    assert audited.judged.conclusion is not Conclusion.CONFORMING


def test_an_estate_that_declares_nothing_is_no_estate(recorded: Station) -> None:
    text = recorded.estate_file.read_text()
    recorded.estate_file.write_text(text[: text.index("datasets:")] + "datasets: {}\n")

    ran = recorded.command("audit")

    assert ran.status == 78, ran.out
    assert "covered" not in ran.out


def test_as_many_datasets_are_judged_as_are_declared_and_both_figures_are_said(recorded: Station) -> None:
    more = "  moths:\n    policy: careful\n    original: kestrel:main/moths\n    copies: [{at: heron:pool/moths}]\n"
    recorded.estate_file.write_text(f"{recorded.estate_file.read_text().rstrip()}\n{more}")
    recorded.mirror("kestrel/recordings", "heron/recordings")

    whole = recorded.command("audit", "--json")
    part = recorded.command("audit", "field-recordings")

    declared = {dataset.id for dataset in recorded.estate.datasets}
    assert {dataset["id"] for dataset in whole.object["datasets"]} == declared
    every = next(finding for finding in whole.object["findings"] if finding["rule"] == "every-dataset")
    assert every["measured"] == "2 judged of 2 declared"
    assert "asked for (not the whole estate)" in said(part)


def test_every_output_says_of_which_moments_it_speaks(recorded: Station) -> None:
    recorded.mirror("kestrel/recordings", "heron/recordings")
    page = recorded.root / "page.html"

    whole = recorded.command("audit", "--json", "--html", str(page)).object
    text = said(recorded.command("audit"))

    started, finished = (datetime.fromisoformat(whole[key]) for key in ("started", "finished"))
    assert timedelta(0) <= finished - started < timedelta(minutes=5)
    assert datetime.fromisoformat(whole["datasets"][0]["original"]["at"]) >= started
    assert datetime.fromisoformat(whole["datasets"][0]["copies"][0]["seen"]) >= started
    here = started.astimezone(recorded.estate.time_zone)
    masthead = page.read_text().partition("</header>")[0]
    assert f"{here:%Y-%m-%d %H:%M}" in masthead.partition("<title>")[2].partition("</title>")[0]
    assert f"{here:%Y-%m-%d %H:%M}" in masthead.partition("<header")[2]
    assert "audited at 20" in text


def test_an_audit_that_breaks_off_leaves_the_last_report_with_its_own_date(recorded: Station) -> None:
    recorded.mirror("kestrel/recordings", "heron/recordings")
    page = recorded.root / "page.html"
    assert recorded.command("audit", "--html", str(page)).status == 0
    before = page.read_bytes()
    (recorded.state / "ledger.db").write_bytes(b"this is no database, it was spilt over")

    broken = recorded.command("audit", "--html", str(page))

    assert broken.status not in {0, 1, 69}
    assert "conforming" not in broken.out.lower()
    assert page.read_bytes() == before


def test_what_is_suddenly_left_out_is_observed_with_the_figures_of_then_and_now(recorded: Station) -> None:
    leaving_out(recorded, "*.tmp")
    recorded.night()
    recorded.pass_time(timedelta(days=1))
    for number in range(40):
        recorded.write(f"kestrel/recordings/take-{number}.wav.tmp", bytes(4_000))

    (found,) = [f for f in dataset_of(recorded.night(), "field-recordings").findings if f.rule == "leaving-out"]

    assert found.answer is Answer.OBSERVATION
    assert "“*.tmp” leaves out 43 files (163 kB)" in found.message
    assert "it left out 3 files (3.0 kB)" in found.message


def test_the_size_of_an_original_is_said_with_what_of_it_is_left_out(recorded: Station) -> None:
    leaving_out(recorded, "*.tmp")

    out = said(recorded.command("audit", "--html", str(recorded.root / "page.html")))

    assert "23 files, 5.2 kB, of which 3 files (3.0 kB) are left out by patterns" in out
    assert "left out by patterns" in (recorded.root / "page.html").read_text()


def test_litter_is_left_out_unasked_and_counted_and_a_dataset_may_take_it_back(recorded: Station) -> None:
    leaving_out(recorded, "*.tmp")
    recorded.write("kestrel/recordings/Thumbs.db", bytes(500))
    first = recorded.night()
    assert copy_of(first, "field-recordings").standing is Standing.PROVEN
    assert any("Thumbs.db 1 file (500 B)" in remark for remark in copy_of(first, "field-recordings").remarks)
    assert not any("desktop.ini" in remark for remark in copy_of(first, "field-recordings").remarks)

    text = recorded.estate_file.read_text().replace('["*.tmp"]', '["*.tmp", "!Thumbs.db"]')
    recorded.estate_file.write_text(text)
    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.comparison is not None
    assert copy.comparison.missing.files == 1
