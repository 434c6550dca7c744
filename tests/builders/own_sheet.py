"""The auditor's own sheet of the invented station: its ledger and estate have a copy, its keys have none."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from coverage_audit.estate.model import Estate, NoticeKind, NoticeTarget
from coverage_audit.evidence.own import OwnPart, OwnPlace, OwnPlaces
from coverage_audit.judgement.verdict import JudgedEstate, Standing
from coverage_audit.reports.auditor_sheet import auditor_sheet
from tests.builders.judged import NOW, a_copy, a_dataset, address, an_estate, judged

MADE = NOW + timedelta(hours=2)
TEXT = """estate: Saltreach Field Station
time_zone: Europe/Dublin

sites:
  station: {name: Field station}   # where it stands
  barn: {name: Long Barn}
"""
OWN = OwnPlaces(
    places=(
        OwnPlace(part=OwnPart.LEDGER, path="/srv/main/auditor/seed"),
        OwnPlace(part=OwnPart.ESTATE, path="/srv/main/auditor/estate.yaml"),
        OwnPlace(part=OwnPart.KEYS, path="/home/warden/.ssh/id_ed25519"),
    ),
    database=OwnPlace(part=OwnPart.LEDGER, path="/srv/main/auditor/ledger.db"),
    dump=OwnPlace(part=OwnPart.LEDGER, path="/srv/main/auditor/dump", is_folder=True),
    dumped=NOW,
)


def audited(*standings: Standing) -> JudgedEstate:
    """The auditor's dataset with one copy of each standing; the first is the oldest."""
    estate = an_estate()
    devices = ("heron", "curlew", "shelf-b")
    copies = tuple(
        a_copy(estate, address(device, "auditor"), standing=standing, age=timedelta(hours=30 - 10 * number))
        for number, (device, standing) in enumerate(zip(devices, standings, strict=False))
    )
    return judged((a_dataset("auditor", copies),))


def station(audit: JudgedEstate | None, *, text: str = TEXT) -> Estate:
    estate = an_estate(audit.datasets if audit else audited(Standing.PROVEN).datasets)
    target = NoticeTarget(name="household", send=frozenset(NoticeKind), url_file="/etc/coverage-audit/household")
    return replace(estate, text=text, file="/srv/main/auditor/estate.yaml", notices=(target,))


def the_own_sheet(audit: JudgedEstate | None = None, own: OwnPlaces = OWN) -> str:
    found = audit or audited(Standing.STALE, Standing.PROVEN)
    return auditor_sheet(station(found), own, found, now=MADE, version="0.6.0")
