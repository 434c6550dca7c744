from __future__ import annotations

from dataclasses import replace

from coverage_audit.estate.model import DatasetId, DeviceId, Estate
from coverage_audit.judgement.verdict import Answer, Conclusion
from coverage_audit.scenarios.leaving import Leaving, leaving_with
from coverage_audit.scenarios.retirement import best_original, estate_without, what_breaks, without_original
from tests.builders.judged import a_dataset, a_finding, judged
from tests.builders.station import CURLEW, RECORDINGS, an_address, an_estate

MIRROR = an_address("heron:pool/mirror/recordings")
SET = DatasetId("field-recordings")


def leaves(name: str, estate: Estate | None = None) -> Leaving:
    return leaving_with(estate or an_estate(), [DeviceId(name)], [])


def test_an_estate_without_a_copys_box_has_neither_the_box_nor_the_copy() -> None:
    left = estate_without(an_estate(), leaves("heron"), {})
    assert [device.id for device in left.devices] == ["kestrel", "curlew"]
    assert [str(copy.address) for copy in left.datasets[0].copies] == ["curlew:store/recordings"]


def test_where_an_original_leaves_what_is_named_is_worked_on_and_is_no_copy_any_more() -> None:
    left = estate_without(an_estate(), leaves("kestrel"), {SET: MIRROR})
    (dataset,) = left.datasets
    assert (dataset.original, dataset.moved_from) == (MIRROR, (RECORDINGS.original,))
    assert [str(copy.address) for copy in dataset.copies] == ["curlew:store/recordings"]


def test_without_anything_to_work_on_it_breaks_and_is_not_judged() -> None:
    estate, gone = an_estate(), leaves("kestrel")
    assert estate_without(estate, gone, {}).datasets == ()
    (broken,) = without_original(estate, gone, {})
    assert (broken.dataset, broken.rule, broken.proven) == (SET, "original", True)
    assert without_original(estate, gone, {SET: MIRROR}) == ()


def test_keys_that_only_what_leaves_keeps_are_kept_nowhere_any_more() -> None:
    copies = (replace(RECORDINGS.copies[1], encrypted=True, key_kept=("heron", "barn")),)
    store = replace(CURLEW.volumes[0], encrypted=True, key_kept=("heron",))
    estate = an_estate(datasets=(replace(RECORDINGS, copies=copies),))
    estate = replace(estate, devices=(*estate.devices[:2], replace(CURLEW, volumes=(store,))))
    left = estate_without(estate, leaves("heron", estate), {})
    assert left.datasets[0].copies[0].key_kept == ("barn",)
    assert left.volume(store.key).key_kept == ()


def test_of_what_is_touched_all_that_fails_breaks_of_the_rest_what_got_worse() -> None:
    failing = a_finding("enough-copies", "field-recordings")
    known = a_finding("age", "herbarium")
    worse = a_finding("age", "ringing")
    before = judged(
        (
            a_dataset("field-recordings", (), findings=(failing,)),
            a_dataset("herbarium", (), findings=(known,)),
            a_dataset("ringing", (), findings=(replace(worse, answer=Answer.UNVERIFIED),)),
        )
    )
    after = judged(
        (
            a_dataset("field-recordings", (), findings=(failing,), conclusion=Conclusion.NONCONFORMING),
            a_dataset("herbarium", (), findings=(known,), conclusion=Conclusion.NONCONFORMING),
            a_dataset("ringing", (), findings=(worse,), conclusion=Conclusion.NONCONFORMING),
        ),
        findings=(a_finding("own-state", "ledger"),),
    )
    found = what_breaks(before, after, [SET])
    assert {(one.dataset, one.rule) for one in found} == {
        ("field-recordings", "enough-copies"),
        ("ringing", "age"),
        (None, "own-state"),
    }
    assert all(one.proven for one in found)


def test_what_fails_already_breaks_where_it_moves_further_from_what_is_required() -> None:
    own, copies = a_finding("own-state", "ledger"), a_finding("enough-copies", "ringing")
    fails = judged(
        (a_dataset("ringing", (), findings=(replace(copies, degree=1.0),)),), findings=(replace(own, degree=1.0),)
    )
    moved = judged(
        (a_dataset("ringing", (), findings=(replace(copies, degree=2.0),)),), findings=(replace(own, degree=1.001),)
    )
    assert [one.rule for one in what_breaks(fails, moved, [])] == ["enough-copies"]


def test_what_cannot_be_told_breaks_too_and_what_is_waived_does_not() -> None:
    unknown = a_finding("age", "field-recordings", Answer.UNVERIFIED)
    waived = a_finding("media", "field-recordings", Answer.WAIVED)
    after = judged((a_dataset("field-recordings", (), findings=(unknown, waived), conclusion=Conclusion.UNVERIFIED),))
    (found,) = what_breaks(judged(()), after, [SET])
    assert (found.rule, found.proven) == ("age", False)


def test_a_conclusion_that_no_finding_explains_is_not_passed_over() -> None:
    after = judged((a_dataset("field-recordings", (), conclusion=Conclusion.UNVERIFIED),))
    assert [one.rule for one in what_breaks(judged(()), after, [SET])] == ["conclusion"]


def test_no_copy_that_was_not_compared_is_worked_on() -> None:
    assert best_original(RECORDINGS, (), leaves("kestrel")) is None
