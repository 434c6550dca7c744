from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from coverage_audit.estate.former import NO_LINEAGE, Lineage
from coverage_audit.estate.model import DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.collected import Answer as BoxAnswer
from coverage_audit.evidence.facts import IdentityCheck, PinState, VolumeFacts
from coverage_audit.ledger.estates_kept import KeptEstate, VolumeShown
from coverage_audit.ledger.ledger import Ledger
from tests.builders.nights import recorded
from tests.builders.recorded import KESTREL, a_box_answer, a_judged, night

LEAST = timedelta(microseconds=1)
BITTERN = VolumeKey(device=DeviceId("bittern"), volume=VolumeId("main"))


def showing(
    ledger: Ledger, number: int, drives: str, filesystem: str | None = "fs", *, volume: VolumeKey = KESTREL
) -> None:
    """Record the nth night, in which a volume shows these drives (their letters)."""
    answer = a_box_answer(volume, night(number))
    recorded(ledger, number, judged=a_judged(night(number)), answers=(with_drives(answer, drives, filesystem),))


def with_drives(answer: BoxAnswer, drives: str, filesystem: str | None) -> BoxAnswer:
    (facts,) = answer.volumes
    assert isinstance(facts, VolumeFacts)
    return replace(answer, volumes=(replace(facts, drives=frozenset(drives), filesystem_uuid=filesystem),))


def shown(ledger: Ledger, since: datetime, until: datetime, lineage: Lineage = NO_LINEAGE) -> list[tuple[object, ...]]:
    """What was shown, by the numbers of its first and last night."""
    return [told(one) for one in ledger.estates.shown(since, until, lineage)]


def told(one: VolumeShown) -> tuple[object, ...]:
    numbers = ((at - night(0)).days for at in (one.first, one.last))
    return (str(one.volume), *numbers, "".join(sorted(one.drives)), one.filesystem)


def test_the_first_audit_is_the_earliest_whenever_it_was_recorded(ledger: Ledger) -> None:
    assert ledger.estates.first_audit() is None
    for number in (3, 1, 2):
        recorded(ledger, number)
    assert ledger.estates.first_audit() == night(1)


def test_the_estate_in_force_is_that_of_the_last_audit_until_then(ledger: Ledger) -> None:
    assert ledger.estates.estate_at(night(5)) is None
    for number in (1, 2, 4):
        recorded(ledger, number, estate_text=f"estate: {number}")
    kept = [ledger.estates.estate_at(at) for at in (night(0), night(1), night(2) - LEAST, night(3), night(9))]
    assert [one and (one.at, one.text) for one in kept] == [
        (night(number), f"estate: {number}") for number in (1, 1, 1, 2, 4)
    ]
    assert isinstance(kept[0], KeptEstate)


def test_what_stays_the_same_is_one_and_each_change_begins_another(ledger: Ledger) -> None:
    for number, drives in enumerate(["ab", "ab", "ab", "a", "a", "ac"]):
        showing(ledger, number, drives)
    assert shown(ledger, night(0) - LEAST, night(9)) == [
        ("kestrel:main", 0, 2, "ab", "fs"),
        ("kestrel:main", 3, 4, "a", "fs"),
        ("kestrel:main", 5, 5, "ac", "fs"),
    ]


def test_what_was_shown_last_before_the_span_belongs_to_it_and_nothing_before_that(ledger: Ledger) -> None:
    for number, drives in enumerate(["a", "b", "b", "c"]):
        showing(ledger, number, drives)
    assert shown(ledger, night(2), night(3)) == [("kestrel:main", 2, 2, "b", "fs"), ("kestrel:main", 3, 3, "c", "fs")]
    assert shown(ledger, night(2), night(2) + LEAST) == [("kestrel:main", 2, 2, "b", "fs")]


def test_a_night_in_which_nothing_is_shown_interrupts_nothing(ledger: Ledger) -> None:
    for number, (drives, filesystem) in enumerate([("ab", "fs"), ("", None), ("ab", "fs"), ("", "other")]):
        showing(ledger, number, drives, filesystem)
    assert shown(ledger, night(0) - LEAST, night(9)) == [
        ("kestrel:main", 0, 2, "ab", "fs"),
        ("kestrel:main", 3, 3, "ab", "other"),
    ]


def test_what_is_shown_later_of_the_same_is_no_change(ledger: Ledger) -> None:
    for number, (drives, filesystem) in enumerate([("", "fs"), ("ab", "fs")]):
        showing(ledger, number, drives, filesystem)
    assert shown(ledger, night(0) - LEAST, night(9)) == [("kestrel:main", 0, 1, "ab", "fs")]


def test_the_path_of_a_socket_is_no_drive(ledger: Ledger) -> None:
    answer = a_box_answer(at=night(0))
    (facts,) = answer.volumes
    assert isinstance(facts, VolumeFacts)
    by_path = replace(facts, drives=frozenset({"path:/dev/sda", "S1"}))
    recorded(ledger, 0, answers=(replace(answer, volumes=(by_path,)),))
    (one,) = ledger.estates.shown(night(0) - LEAST, night(1), NO_LINEAGE)
    assert one.drives == {"S1"}


def test_what_lay_there_in_its_stead_is_not_told_of(ledger: Ledger) -> None:
    showing(ledger, 0, "a")
    check = IdentityCheck(volume=KESTREL, state=PinState.CHANGED)
    judged = replace(a_judged(night(1)), identities=(check,))
    recorded(ledger, 1, judged=judged, answers=(with_drives(a_box_answer(at=night(1)), "x", "fs-of-root"),))
    assert shown(ledger, night(0) - LEAST, night(9)) == [("kestrel:main", 0, 0, "a", "fs")]


def test_a_renamed_box_goes_on_under_its_present_name(ledger: Ledger) -> None:
    showing(ledger, 0, "a")
    showing(ledger, 1, "a", volume=BITTERN)
    lineage = Lineage(devices=((BITTERN.device, KESTREL.device),))
    assert shown(ledger, night(0) - LEAST, night(9), lineage) == [("bittern:main", 0, 1, "a", "fs")]
    assert len(shown(ledger, night(0) - LEAST, night(9))) == 2
