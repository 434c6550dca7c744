from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import pyarrow as pa
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.comparison.blind import BlindPlaces
from coverage_audit.evidence.manifest import Blind
from coverage_audit.evidence.order import tree_key
from tests.builders.manifests import a_manifest

PATHS = st.lists(st.sampled_from([b"a", b"a.", b"a-", b"\x01", b"b"]), min_size=1, max_size=3).map(b"/".join)


@settings(max_examples=50, deadline=None)
@given(places=st.lists(PATHS, max_size=4), paths=st.lists(PATHS, max_size=30, unique=True))
def test_rows_at_or_below_a_blind_place_are_covered_and_no_others(places: list[bytes], paths: list[bytes]) -> None:
    keys = sorted(map(tree_key, paths))
    with TemporaryDirectory() as folder:
        manifest = a_manifest(Path(folder), [], blind=[Blind(path=place, why="no") for place in places])

    covered = BlindPlaces(manifest).cover(pa.array(keys, pa.binary())).tolist()

    found = [key.replace(b"\0", b"/") for key in keys]
    assert covered == [any(path == place or path.startswith(place + b"/") for place in places) for path in found]


def test_where_the_root_was_not_looked_into_everything_is_covered(tmp_path: Path) -> None:
    blind = BlindPlaces(a_manifest(tmp_path, [], blind=[Blind(path=b"", why="no")]))

    assert blind.cover(pa.array([b"a", b"b"], pa.binary())).all()


def test_a_complete_manifest_has_no_blind_place(tmp_path: Path) -> None:
    blind = BlindPlaces(a_manifest(tmp_path, []))

    assert not blind
    assert not blind.cover(pa.array([b"a"], pa.binary())).any()
