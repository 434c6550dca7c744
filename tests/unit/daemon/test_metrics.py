"""Read back by the reference parser of OpenMetrics (package prometheus-client), and by the older format's own."""

from __future__ import annotations

import stat
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from prometheus_client import parser
from prometheus_client.metrics_core import Metric
from prometheus_client.openmetrics import parser as openmetrics_parser

from coverage_audit.audits.status import DatasetStatus, Evidence, Kind, Status, Timetable
from coverage_audit.daemon.metrics import metrics_text, write_metrics
from coverage_audit.errors import ReportError
from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Answer, Conclusion
from coverage_audit.ledger.present_record import NightCounts, OpenFinding
from tests.builders.recorded import a_finding
from tests.builders.status import DAY, HOUR, NIGHT, NOW, a_dataset, a_queued, a_status, an_audit

Read = Callable[[str], Iterable[Metric]]
OPENMETRICS: Read = openmetrics_parser.text_string_to_metric_families
OLDER: Read = parser.text_string_to_metric_families

Samples = dict[tuple[str, tuple[tuple[str, str], ...]], float]


def samples(text: str) -> Samples:
    """All samples by name and labels; the parser refuses what is not OpenMetrics."""
    found: Samples = {}
    for family in OPENMETRICS(text):
        for sample in family.samples:
            key = (sample.name.removeprefix("coverage_audit_"), tuple(sorted(sample.labels.items())))
            assert key not in found
            found[key] = sample.value
    return found


def of(status: Status) -> Samples:
    return samples(metrics_text(status))


def test_the_last_finished_audit_is_an_instant_that_grows_old_by_itself() -> None:
    found = of(a_status())
    assert found["last_audit_finished_timestamp_seconds", ()] == (NIGHT + HOUR).timestamp()
    assert found["expected_audit_timestamp_seconds", ()] == (NIGHT - DAY).timestamp()
    assert found["next_audit_timestamp_seconds", ()] == (NIGHT + DAY).timestamp()
    assert found["written_timestamp_seconds", ()] == NOW.timestamp()


def test_nothing_in_it_says_that_all_is_well_once_nobody_writes_it_any_more() -> None:
    assert metrics_text(a_status()).replace(str(NOW.timestamp()), "") == metrics_text(
        a_status(at=NOW + 300 * DAY)
    ).replace(str((NOW + 300 * DAY).timestamp()), "")


def test_without_any_audit_there_is_no_instant_and_no_conclusion() -> None:
    names = {name for name, _ in of(a_status(last=None))}
    assert "last_audit_finished_timestamp_seconds" not in names
    assert "conclusion" not in names


@pytest.mark.parametrize("holds", list(Conclusion))
def test_one_conclusion_holds_of_each_dataset(holds: Conclusion) -> None:
    found = of(a_status(datasets=(a_dataset(conclusion=holds),), last=an_audit(conclusion=holds)))
    for conclusion in Conclusion:
        expected = float(conclusion is holds)
        assert found["dataset_conclusion", (("conclusion", conclusion), ("dataset", "field-recordings"))] == expected
        assert found["conclusion", (("conclusion", conclusion),)] == expected


def test_a_dataset_that_was_never_judged_is_unverified_and_has_no_figures() -> None:
    found = of(a_status(datasets=(DatasetStatus(id=DatasetId("photos"), last=None),)))
    assert found["dataset_conclusion", (("conclusion", "unverified"), ("dataset", "photos"))] == 1
    assert not [name for name, labels in found if "bytes" in name and ("dataset", "photos") in labels]


def test_exposed_bytes_are_exact_and_left_out_where_they_are_not_known() -> None:
    large = 9_007_199_254_740_993  # 2**53 + 1
    text = metrics_text(a_status(datasets=(a_dataset("field", exposed=large), a_dataset("photos", exposed=None))))
    assert f'coverage_audit_dataset_exposed_bytes{{dataset="field"}} {large}\n' in text
    labels = {labels for name, labels in samples(text) if name == "dataset_exposed_bytes"}
    assert labels == {(("dataset", "field"),)}


def test_undelivered_notices_are_counted_by_address_and_those_without_any_are_zero() -> None:
    waiting = (a_queued(waiting=3 * HOUR), a_queued(waiting=HOUR))
    found = of(a_status(undelivered=waiting))
    assert found["undelivered_notices", (("target", "phone"),)] == 2
    assert found["undelivered_notices", (("target", "mail"),)] == 0
    assert found["oldest_undelivered_notice_timestamp_seconds", (("target", "phone"),)] == (NOW - 3 * HOUR).timestamp()


def test_nights_are_counted_by_how_they_ended_and_those_missed_apart() -> None:
    found = of(a_status())
    ended = {dict(labels)["outcome"]: value for (name, labels), value in found.items() if name == "nights_total"}
    assert ended == {"audited": 40, "failed": 1, "busy": 0}
    assert found["nights_missed_total", ()] == 2
    assert of(a_status(nights=NightCounts()))["nights_missed_total", ()] == 0


def test_evidence_is_told_by_when_it_was_seen_and_what_never_was_has_no_instant() -> None:
    seen = {labels: value for (name, labels), value in of(a_status()).items() if name == "evidence_timestamp_seconds"}
    assert seen == {(("kind", "device"), ("name", "kestrel")): NIGHT.timestamp()}


def test_open_findings_are_counted_by_their_answer() -> None:
    failing = (OpenFinding(finding=a_finding(answer=Answer.UNVERIFIED), dataset=None, since=NIGHT),)
    found = of(a_status(failing=failing))
    assert found["open_findings", (("answer", "unverified"),)] == 1
    assert found["open_findings", (("answer", "nonconformity"),)] == 0


@pytest.mark.parametrize("name", ['a"} 1\nforged 7', "back\\slash", "tab\there", "\u202eright", "\\n", 'end\\"', "{}#"])
def test_hostile_names_stay_within_their_labels(name: str) -> None:
    ordinary = of(a_status(evidence=(Evidence(kind=Kind.DEVICE, name="x", at=NIGHT),)))
    found = of(a_status(evidence=(Evidence(kind=Kind.DEVICE, name=name, at=NIGHT),)))
    assert {family for family, _ in found} == {family for family, _ in ordinary}
    assert len(found) == len(ordinary)
    (labels,) = (dict(labels) for family, labels in found if family == "evidence_timestamp_seconds")
    assert labels["name"].isprintable()
    assert labels["kind"] == "device"


def test_collectors_of_the_older_text_format_read_the_same_figures() -> None:
    text = metrics_text(a_status())
    both = []
    for read in (OPENMETRICS, OLDER):
        found = (sample for family in read(text) for sample in family.samples)
        both.append({(sample.name, *sorted(sample.labels.items())): sample.value for sample in found})
    assert both[0] == both[1]
    assert {family.type for family in OPENMETRICS(text)} == {"gauge", "counter"}


def test_instants_keep_their_microseconds() -> None:
    at = datetime(2026, 11, 27, 4, 10, 5, 123456, tzinfo=UTC)
    times = Timetable(expected=at, audit=None, summary=None)
    found = of(a_status(times=times))
    assert found["expected_audit_timestamp_seconds", ()] == at.timestamp()
    assert ("next_audit_timestamp_seconds", ()) not in found


def test_the_file_is_replaced_whole_and_may_be_read_by_another_account(tmp_path: Path) -> None:
    file = tmp_path / "coverage-audit.prom"
    file.write_text("old", encoding="utf-8")
    with file.open(encoding="utf-8") as held:
        write_metrics(str(file), a_status())
        assert held.read() == "old"  # whoever reads it just now reads the old one to its end
    assert file.read_text(encoding="utf-8") == metrics_text(a_status())
    assert stat.S_IMODE(file.stat().st_mode) == 0o644
    assert list(tmp_path.iterdir()) == [file]


def test_a_file_that_cannot_be_written_is_said_and_leaves_nothing_behind(tmp_path: Path) -> None:
    folder = tmp_path / "metrics"
    folder.mkdir()
    with pytest.raises(ReportError, match="the metrics cannot be written"):
        write_metrics(str(folder), a_status())
    assert list(tmp_path.iterdir()) == [folder]


def test_what_a_killed_daemon_left_half_written_goes_and_nothing_else(tmp_path: Path) -> None:
    file = tmp_path / "coverage-audit.prom"
    (tmp_path / ".coverage-audit.prom.k3_x9abc").write_text("half", encoding="utf-8")
    others = {tmp_path / ".coverage-audit.prom.swp", tmp_path / "node.prom", tmp_path / ".other.prom.k3_x9abc"}
    for other in others:
        other.write_text("somebody else's", encoding="utf-8")
    write_metrics(str(file), a_status())
    assert set(tmp_path.iterdir()) == {file, *others}


def test_a_home_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    write_metrics("~/coverage-audit.prom", a_status())
    assert (tmp_path / "coverage-audit.prom").exists()


def test_an_account_without_a_home_is_said_and_ends_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("HOME", raising=False)
    monkeypatch.setattr("os.path.expanduser", lambda path: path)  # as it is where the account has no entry
    with pytest.raises(ReportError, match="no home"):
        write_metrics("~/coverage-audit.prom", a_status())
