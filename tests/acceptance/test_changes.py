"""The look back by the command line, over audits of real folders."""

from __future__ import annotations

import json
from datetime import timedelta

import jsonschema
import pytest

from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.ledger.opening import exclusive
from tests.parts.station import Station

ESTATE = """
sites: {station: {name: Field station}}
devices:
  kestrel:
    site: station
    access: local
    volumes:
      main: {path: {root}/main, medium: hdd, on_root: true}
      pool: {path: {root}/pool, medium: hdd, on_root: true}
policies: {careful: {copies: 2, max_age: 26h}}
datasets:
  field-recordings: {policy: careful, original: "kestrel:main/recordings", copies: [{at: "kestrel:pool/recordings"}]}
"""


@pytest.fixture
def audited(station: Station) -> Station:
    """Two audits, and between them a dataset that came and files that were added."""
    station.declare(ESTATE)
    station.write("main/recordings/a.wav")
    station.mirror("main/recordings", "pool/recordings")
    station.ahead = -timedelta(days=3)
    station.night()
    station.pass_time(timedelta(days=2))
    station.write("main/recordings/b.wav")
    station.write("main/tapes/c.wav")
    station.declare(ESTATE + '  tapes: {policy: careful, original: "kestrel:main/tapes", copies: []}\n')
    station.night()
    return station


def test_the_text_the_json_and_the_page_tell_what_was(audited: Station) -> None:
    page = audited.root / "year.html"

    text = audited.command("changes", "--since", "30d")
    told = audited.command("changes", "--since", "30d", "--json", "--html", str(page))

    assert (text.status, told.status) == (0, 0), text.err + told.err
    schema = json.loads((defaults_folder() / "changes.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(told.object, schema, format_checker=jsonschema.FormatChecker())
    by_name = {dataset["id"]: dataset for dataset in told.object["datasets"]}
    assert (by_name["field-recordings"]["first"]["files"], by_name["field-recordings"]["last"]["files"]) == (1, 2)
    assert by_name["tapes"]["born"] is not None
    assert told.object["first_audit"] is not None
    assert [change["name"] for change in told.object["declared"]] == ["tapes"]
    for said in ("Since the first audit on", "dataset tapes was declared", "1 file more"):
        assert said in text.out
    assert "dataset tapes was declared" in page.read_text(encoding="utf-8")


def test_it_can_be_told_while_an_audit_runs(audited: Station) -> None:

    with exclusive(audited.state):
        assert audited.command("changes", "--since", "30d").status == 0


def test_without_an_audit_it_says_so(station: Station) -> None:
    station.declare(ESTATE)
    ran = station.command("changes", "--since", "30d")
    assert (ran.status, ran.out) == (69, "")
    assert "no audit is recorded yet" in ran.err


def test_a_date_that_makes_no_sense_is_refused(audited: Station) -> None:
    assert audited.command("changes", "--since", "last year").status == 64
    assert audited.command("changes").status == 64


def test_a_page_that_cannot_be_written_is_an_error(audited: Station) -> None:
    assert audited.command("changes", "--since", "30d", "--html", str(audited.root / "no" / "year.html")).status == 73
