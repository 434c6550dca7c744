"""The laws of independence, tried on every subset and on facts hidden at will."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts
from coverage_audit.judgement.independence import Apart, Relation, Relations, largest_apart
from tests.builders.apart import related
from tests.builders.cases import a_place
from tests.builders.station import HERON, KESTREL, changed

HERE, THERE = a_place(KESTREL), a_place(HERON)


@given(st.lists(st.sampled_from(list(Apart)), min_size=15, max_size=15), st.sets(st.integers(0, 5)))
def test_the_largest_set_is_that_of_all_subsets(answers: list[Apart], among: set[int]) -> None:
    found = Relations(
        pairs={pair: Relation(apart=apart) for pair, apart in zip(combinations(range(6), 2), answers, strict=True)}
    )
    for assumed in (False, True):
        good = {Apart.SHOWN, Apart.NOT_SHOWN} if assumed else {Apart.SHOWN}
        best = max(
            len(subset)
            for size in range(len(among) + 1)
            for subset in combinations(sorted(among), size)
            if all(found.between(*pair).apart in good for pair in combinations(subset, 2))
        )

        assert len(largest_apart(sorted(among), found, assumed=assumed)) == best


FACTS = ("machine_id", "boot_id", "host_key")
SHOWN = ("filesystem_uuid", "drives", "mount_source", "backing_file")


@given(
    st.sets(st.sampled_from(FACTS)),
    st.sets(st.sampled_from(("filesystem_uuid", "drives"))),
    st.tuples(st.sets(st.sampled_from(FACTS)), st.sets(st.sampled_from(FACTS))),
    st.tuples(st.sets(st.sampled_from(SHOWN)), st.sets(st.sampled_from(SHOWN))),
)
def test_whatever_is_not_shown_never_makes_two_places_apart(
    same_box: set[str], same_volume: set[str], hidden_box: tuple[set[str], set[str]], hidden: tuple[set[str], set[str]]
) -> None:
    here, there = HERE.device_facts, THERE.device_facts
    first, second = HERE.volume_facts, THERE.volume_facts
    assert isinstance(here, DeviceFacts)
    assert isinstance(there, DeviceFacts)
    assert isinstance(first, VolumeFacts)
    assert isinstance(second, VolumeFacts)
    there = changed(there, **{name: getattr(here, name) for name in same_box})
    second = changed(second, **{name: getattr(first, name) for name in same_volume})
    before = related(HERE, replace(THERE, device_facts=there, volume_facts=second))
    silent = [changed(box, **dict.fromkeys(names)) for box, names in zip((here, there), hidden_box, strict=True)]
    blank = [
        changed(seen, **{name: frozenset() if name == "drives" else None for name in names})
        for seen, names in zip((first, second), hidden, strict=True)
    ]
    after = related(
        replace(HERE, device_facts=silent[0], volume_facts=blank[0]),
        replace(THERE, device_facts=silent[1], volume_facts=blank[1]),
    )

    assert before.apart is Apart.SHOWN or after.apart is not Apart.SHOWN
