"""The laws of a loss: cut sets are those of brute force, and nothing gets better by losing something more."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import combinations, product

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.judgement.counting import ORIGINAL
from coverage_audit.judgement.domains import Domain
from coverage_audit.judgement.judge import findings_of
from coverage_audit.judgement.rules.catalogue import COUNTING
from coverage_audit.judgement.subjects import dataset_subject
from coverage_audit.judgement.verdict import Conclusion, Finding
from coverage_audit.scenarios.cut_set import CutMember, CutSet
from coverage_audit.scenarios.cutting import cuts_of
from coverage_audit.scenarios.extent import every_domain
from coverage_audit.scenarios.falling import dataset_loss
from coverage_audit.scenarios.loss import DatasetLoss, Fate
from coverage_audit.scenarios.material import material_of
from coverage_audit.scenarios.remaining import Remaining, remaining_context
from tests.builders.failing_estates import Failing, failing_estates, is_lost, judged_of, volume_lost
from tests.builders.station import FINISHED


def choices(member: CutMember) -> list[frozenset[str]]:
    return [frozenset(map(str, chosen)) for chosen in combinations(member.domains, member.needed)]


def expanded(found: CutSet) -> Iterable[frozenset[str]]:
    for chosen in product(*(choices(member) for member in found.members)):
        yield frozenset().union(*chosen)


@settings(max_examples=200, deadline=None)
@given(failing_estates())
def test_cut_sets_are_the_smallest_of_all_subsets_of_failures_that_lose_the_dataset(failing: Failing) -> None:
    material = material_of(failing.estate, failing.judged, at=FINISHED)
    (dataset,) = material.datasets
    names = [str(domain) for domain in every_domain(failing.estate)]
    losing: list[frozenset[str]] = []
    for size in range(4):
        for chosen in map(frozenset, combinations(names, size)):
            if not any(other <= chosen for other in losing) and is_lost(failing, chosen):
                losing.append(chosen)

    found = cuts_of(dataset)

    assert found.shown
    assert {chosen for one in found.sets for chosen in expanded(one)} == set(losing)
    assert [one.order for one in found.sets] == sorted(one.order for one in found.sets)


FATES = tuple(Fate)
CONCLUSIONS = (Conclusion.NONCONFORMING, Conclusion.UNVERIFIED, Conclusion.CONFORMING)


def badness(loss: DatasetLoss | None, before: Conclusion) -> tuple[int, int]:
    """Rank what is left: the fate, then the conclusion; where it has no part in the failure nothing changes."""
    if loss is None:
        return len(FATES), CONCLUSIONS.index(before)
    return FATES.index(loss.fate), CONCLUSIONS.index(loss.conclusion)


@settings(max_examples=200, deadline=None)
@given(failing_estates(), st.data())
def test_losing_more_makes_nothing_better(failing: Failing, data: st.DataObject) -> None:
    material = material_of(failing.estate, failing.judged, at=FINISHED)
    (dataset,) = material.datasets
    domains = every_domain(failing.estate)
    failed: frozenset[Domain] = frozenset()
    fate, conclusion = badness(None, dataset.judged.conclusion)
    for domain in data.draw(st.lists(st.sampled_from(domains), min_size=1, max_size=4)):
        failed |= {domain}
        now_fate, now_conclusion = badness(dataset_loss(dataset, failed), dataset.judged.conclusion)
        assert now_fate <= fate
        assert now_conclusion <= conclusion
        fate, conclusion = now_fate, now_conclusion


@settings(max_examples=200, deadline=None)
@given(failing_estates(), st.data())
def test_what_is_said_to_be_gone_is_what_the_plain_model_says(failing: Failing, data: st.DataObject) -> None:
    material = material_of(failing.estate, failing.judged, at=FINISHED)
    (dataset,) = material.datasets
    chosen = data.draw(st.lists(st.sampled_from(every_domain(failing.estate)), min_size=1, max_size=3))
    names = frozenset(map(str, chosen))

    loss = dataset_loss(dataset, frozenset(chosen))

    gone = {str(place.address.volume.device) for place in loss.gone if not place.key_gone} if loss else set()
    places = [failing.case.dataset.original, *(copy.copy.address for copy in failing.case.copies)]
    expected = {str(place.volume.device) for place in places if volume_lost(failing.estate, place.volume.device, names)}
    assert gone <= expected
    assert expected - gone <= {str(p.address.volume.device) for p in (loss.gone if loss else ()) if p.key_gone}
    if loss is not None and loss.original_gone:
        assert (loss.fate in {Fate.LOST, Fate.NOT_SHOWN}) is is_lost(failing, names)


def of_the_dataset(findings: Iterable[Finding]) -> dict[str, Finding]:
    counting = {rule.id for rule, _ in COUNTING}
    subject = dataset_subject("it")  # type: ignore[arg-type]
    return {finding.rule: finding for finding in findings if finding.rule in counting and finding.subject == subject}


@settings(max_examples=200, deadline=None)
@given(failing_estates(), st.data())
def test_what_is_left_is_judged_as_if_the_copies_that_are_gone_had_never_been_declared(
    failing: Failing, data: st.DataObject
) -> None:
    material = material_of(failing.estate, failing.judged, at=FINISHED)
    (dataset,) = material.datasets
    numbers = range(1, len(failing.case.copies) + 1)
    left = tuple(sorted(data.draw(st.sets(st.sampled_from(numbers)) if numbers else st.just(set()))))
    copies = tuple(failing.case.copies[number - 1] for number in left)
    declared = replace(failing.case.dataset, copies=tuple(copy.copy for copy in copies))
    case = replace(failing.case, dataset=declared, copies=copies)
    again = judged_of(replace(failing.estate, datasets=(declared,)), case).datasets[0]

    context = remaining_context(dataset.context, Remaining(left=(ORIGINAL, *left), doubtful=(), stand_in=ORIGINAL))

    assert context is not None
    assert of_the_dataset(findings_of(context)) == of_the_dataset(again.findings)
