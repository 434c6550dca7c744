"""The best copy of the auditor's own files: none that goes with its machine."""

from __future__ import annotations

from dataclasses import replace

from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.model import DeviceId
from coverage_audit.judgement.verdict import Standing
from coverage_audit.reports.own_copies import best_copy, key_said
from tests.builders.own_sheet import audited, station


def test_a_guest_of_the_auditors_machine_is_gone_with_it_and_so_is_what_is_stored_there() -> None:
    audit = audited(Standing.PROVEN)
    estate = station(audit)
    heron = estate.device(DeviceId("heron"))
    kestrel = replace(estate.device(DeviceId("kestrel")), access=LocalAccess())
    others = tuple(device for device in estate.devices if device.id not in {"heron", "kestrel"})
    stored = replace(heron.volumes[0], stored_on=kestrel.volumes[0].key)

    assert best_copy("auditor", replace(estate, devices=(kestrel, heron, *others)), audit) is not None
    for falling in (replace(heron, runs_on=kestrel.id), replace(heron, volumes=(stored,))):
        assert best_copy("auditor", replace(estate, devices=(kestrel, falling, *others)), audit) is None


def test_a_key_that_a_guest_of_the_auditors_machine_keeps_is_gone_with_it() -> None:
    audit = audited(Standing.PROVEN)
    estate = station(audit)
    kestrel = replace(estate.device(DeviceId("kestrel")), access=LocalAccess())
    curlew = replace(estate.device(DeviceId("curlew")), runs_on=kestrel.id)
    others = tuple(device for device in estate.devices if device.id not in {"curlew", "kestrel"})
    ((copy,),) = (dataset.copies for dataset in audit.datasets)
    locked = replace(copy.evidence, copy=replace(copy.evidence.copy, encrypted=True, key_kept=("curlew",)))

    said = key_said(replace(copy, evidence=locked), replace(estate, devices=(kestrel, curlew, *others)))

    assert said == "encrypted: a key that it needs is not declared to be kept elsewhere"
