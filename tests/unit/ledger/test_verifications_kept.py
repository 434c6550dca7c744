"""What is known of content, in the ledger, on either database."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import DatasetId, DeviceId
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import PinnedFact
from coverage_audit.evidence.verified import Course, Harm, Round, Sampled, Spoilt, Verification, WholeReading
from coverage_audit.ledger.ledger import Ledger
from tests.builders.recorded import COPY, ORIGINAL, RECORDINGS, night

NAMES = (b"plain", b"line\nfeed", b"\xff no utf-8", "kestrel ⁂".encode())
SAMPLE = Sampled(
    began=night(1), ended=night(2), population=Tally(files=41_312, bytes=10**13), asked=299, same=297, differing=1,
    not_shown=1, beside=30, fallen=2, by_time=True,
)  # fmt: skip
KNOWN = Verification(
    last=SAMPLE,
    held=Round(seed=bytes(16), differing=frozenset(NAMES)),
    running=replace(SAMPLE, began=night(2), ended=None, same=7),
    round=Round(seed=bytes(range(16)), differing=frozenset(NAMES[:2]), not_shown=frozenset(NAMES[2:])),
    whole=WholeReading(
        asked=night(2), ended=None, same=Tally(files=3, bytes=4), differing=1, not_shown=2, changed=5,
        left=Tally(files=9, bytes=10), seconds=1.5, through=night(5),
    ),
    course=Course(seed=bytes(16), rank=2**63 - 1),
    spoilt=tuple(
        Spoilt(path=name, harm=harm, size=2, mtime_ns=-1, digest=b"\0\xff", wanted=b"w", at=night(2), held_by=(COPY,))
        for name, harm in zip(NAMES, [*Harm, Harm.DECAYED], strict=True)
    ),
    more=12,
)  # fmt: skip


def test_what_is_known_is_known_again_with_every_name_over_a_restart(
    ledger: Ledger, reopen: Callable[[], Ledger]
) -> None:
    ledger.verifications.keep(RECORDINGS, COPY, Verification(), night(1))
    ledger.verifications.keep(RECORDINGS, COPY, KNOWN, night(2))
    with reopen() as again:
        assert again.verifications.of(RECORDINGS, COPY) == KNOWN
        assert again.verifications.of(RECORDINGS, ORIGINAL) == Verification()
        assert again.verifications.of(DatasetId("another"), COPY) == Verification()


def test_of_a_renamed_box_and_dataset_it_goes_on(ledger: Ledger) -> None:
    ledger.verifications.keep(RECORDINGS, COPY, KNOWN, night(2))
    device, dataset = DeviceId("gannet"), DatasetId("takes")
    now = replace(COPY, volume=replace(COPY.volume, device=device))
    lineage = Lineage(devices=((device, COPY.volume.device),), datasets=((dataset, RECORDINGS),))

    assert ledger.verifications.of(dataset, now) == Verification()
    assert ledger.verifications.of(dataset, now, lineage) == KNOWN
    ledger.verifications.keep(dataset, now, Verification(more=1), night(3), lineage)
    assert ledger.verifications.of(dataset, now, lineage) == Verification(more=1)


def test_what_was_before_the_volume_was_accepted_anew_counts_no_more(ledger: Ledger) -> None:
    ledger.verifications.keep(RECORDINGS, COPY, KNOWN, night(2))
    pinned = [PinnedFact(name="filesystem_uuid", value="another")]
    ledger.accept(COPY.volume, pinned, night(3), "R. Byrne")

    assert ledger.verifications.of(RECORDINGS, COPY) == Verification()
    ledger.verifications.keep(RECORDINGS, COPY, KNOWN, night(4))
    assert ledger.verifications.of(RECORDINGS, COPY) == KNOWN


def test_what_was_held_against_another_original_counts_no_more_but_damage_is_not_forgotten(ledger: Ledger) -> None:
    ledger.verifications.keep(RECORDINGS, COPY, KNOWN, night(2))
    ledger.accept(ORIGINAL.volume, [PinnedFact(name="filesystem_uuid", value="another")], night(3), "R. Byrne")

    found = ledger.verifications.of(RECORDINGS, COPY, against=ORIGINAL)
    assert found == Verification(spoilt=KNOWN.spoilt, more=KNOWN.more)
    assert ledger.verifications.of(RECORDINGS, COPY) == KNOWN
