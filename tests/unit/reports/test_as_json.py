"""The audit as JSON, against its published schema."""

from __future__ import annotations

import base64
import json
from dataclasses import replace
from datetime import timedelta
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.estate.changes import ChangeKind, Detail, EstateChange
from coverage_audit.estate.declared import Part
from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.judgement.verdict import Conclusion, JudgedEstate
from coverage_audit.ledger.record import EstateEvent
from coverage_audit.reports.as_json import audit_json
from tests.builders.judged import (
    NOW,
    a_comparison,
    a_copy,
    a_dataset,
    a_finding,
    a_gap,
    a_sample,
    address,
    an_estate,
    judged,
)
from tests.builders.judged_station import the_station

# The keys that the design promises to keep.
EVENTS = (
    EstateEvent(
        at=NOW - timedelta(days=3),
        change=EstateChange(
            kind=ChangeKind.SWAPPED,
            part=Part.VOLUME,
            name="curlew:\u202estore",
            details=(Detail(what="filesystem uuid", before="6c2e", now=None),),
            who="R. Byrne",
        ),
    ),
)
PROMISED = {"schema", "estate", "started", "finished", "conclusion", "rehearsal", "waived", "datasets", "findings"}
OF_A_DATASET = {"id", "policy", "conclusion", "original", "exposure", "copies", "findings"}
OF_A_COPY = {
    "at", "site", "medium", "standing", "proof", "recovery_point", "reason", "missing", "changed", "pending", "extra",
}  # fmt: skip
OF_A_FINDING = {"id", "rule", "subject", "answer", "measured", "required", "message", "mend", "evidence"}


def the_schema() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((defaults_folder() / "audit.schema.json").read_text(encoding="utf-8"))
    return loaded


def printed(whole: JudgedEstate) -> dict[str, Any]:
    text = audit_json(whole)
    text.encode("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    jsonschema.Draft202012Validator(
        the_schema(), format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
    ).validate(loaded)
    return loaded


def one_copy_with(path: bytes) -> JudgedEstate:
    copy = a_copy(
        an_estate(), address("heron", "mirror"), comparison=a_comparison(samples=(a_sample(path),)), reason="a reason"
    )
    return judged((a_dataset("field-recordings", (copy,)),))


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(the_schema())


def test_a_whole_station_is_printed_as_published() -> None:
    whole, _, _ = the_station(rehearsal=True)
    found = printed(whole)
    assert found["schema"] == "coverage-audit/audit/1"
    assert found["rehearsal"] is True
    assert found["waived"] == 1
    assert found["started"] == "2026-11-25T04:10:00Z"


def test_the_promised_keys_are_there_and_the_schema_demands_them() -> None:
    whole, _, _ = the_station()
    found, schema = printed(whole), the_schema()
    dataset = found["datasets"][7]
    assert set(found) >= PROMISED <= set(schema["required"])
    assert set(dataset) >= OF_A_DATASET <= set(schema["$defs"]["dataset"]["required"])
    assert set(dataset["copies"][0]) >= OF_A_COPY <= set(schema["$defs"]["copy"]["required"])
    assert set(dataset["findings"][0]) >= OF_A_FINDING <= set(schema["$defs"]["finding"]["required"])
    assert set(dataset["exposure"]) >= {"files", "bytes", "since"}
    assert set(dataset["original"]) >= {"files", "bytes", "at"}


def test_every_key_that_is_printed_is_published() -> None:
    whole, _, _ = the_station()
    schema = the_schema()
    closed = json.loads(
        json.dumps(schema).replace('"type": "object"', '"type": "object", "additionalProperties": false')
    )
    jsonschema.Draft202012Validator(closed).validate(json.loads(audit_json(whole, EVENTS)))


def test_what_changed_in_the_estate_is_printed_with_its_details() -> None:
    whole, _, _ = the_station()
    found = json.loads(audit_json(whole, EVENTS))
    jsonschema.Draft202012Validator(the_schema()).validate(found)
    (swapped,) = found["changes"]
    assert swapped["at"] == "2026-11-22T04:31:00Z"
    assert swapped["details"] == [{"what": "filesystem uuid", "before": "6c2e", "now": None}]
    assert (swapped["kind"], swapped["part"], swapped["name"]) == ("swapped", "volume", "curlew:\\u{202E}store")
    assert json.loads(audit_json(whole))["changes"] == []


def test_what_is_not_known_is_null_and_not_zero() -> None:
    gap = a_gap()
    copy = a_copy(an_estate(), address("curlew", "x"), age=None, gap=gap)
    found = printed(judged((a_dataset("camera-trap", (copy,), exposure=None, tree=gap),)))["datasets"][0]
    assert found["exposure"]["files"] is None
    assert found["original"]["files"] is None
    assert found["original"]["seen"] is False
    assert found["copies"][0]["missing"] == {"files": None, "bytes": None}
    assert found["copies"][0]["recovery_point"] is None


@pytest.mark.parametrize(
    "path", [b"a\nb", b"\xff\xfe", b"\x1b[2J", "\u202egpj.exe".encode(), b"<script>", b'"', b"a\\nb", b"\x00"]
)
def test_a_hostile_name_is_visible_text_and_its_bytes_come_back(path: bytes) -> None:
    sample = printed(one_copy_with(path))["datasets"][0]["copies"][0]["samples"][0]
    assert sample["path"].isprintable()
    assert (base64.b64decode(sample["path_bytes"]) if "path_bytes" in sample else sample["path"].encode()) == path


@given(st.binary(max_size=40))
def test_any_name_comes_back_out_of_the_json(path: bytes) -> None:
    sample = printed(one_copy_with(path))["datasets"][0]["copies"][0]["samples"][0]
    assert (base64.b64decode(sample["path_bytes"]) if "path_bytes" in sample else sample["path"].encode()) == path


@given(st.text())
def test_any_text_of_a_finding_makes_utf8_json(text: str) -> None:
    finding = replace(a_finding("age", "x"), message=text, measured="\udcff" + text)
    assert printed(judged((), findings=(finding,)))["findings"][0]["id"] == "age:x"


@pytest.mark.parametrize("conclusion", list(Conclusion))
def test_an_estate_without_datasets_still_prints(conclusion: Conclusion) -> None:
    assert printed(judged((), conclusion=conclusion))["conclusion"] == conclusion
