from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.collectors.mount_borders import mounted_below, outermost

# The form of proc_pid_mountinfo(5), with escapes for blank, tab, newline and backslash.
TABLE = b"""22 1 252:0 / / rw,relatime shared:1 - ext4 /dev/vda rw
30 22 0:26 / /srv/main rw - tmpfs tmpfs rw
31 30 0:27 / /srv/main/a\\040b\\134c rw - tmpfs tmpfs rw
32 30 252:0 /x /srv/main/a\\011\\012 rw - ext4 /dev/vda rw
33 22 0:28 / /srv/mainly rw - tmpfs tmpfs rw
"""


def test_mount_points_below_a_root_are_named_relative_to_it() -> None:
    assert mounted_below(b"/srv/main", TABLE) == {b"a b\\c", b"a\t\n"}


def test_the_root_itself_is_no_border_and_everything_is_below_the_root_of_all() -> None:
    assert mounted_below(b"/", TABLE) == {b"srv/main", b"srv/main/a b\\c", b"srv/main/a\t\n", b"srv/mainly"}


def test_only_the_outermost_borders_are_named() -> None:
    assert outermost([b"a/b", b"a", b"a.b", b"ab", b"c/d"]) == (b"a", b"a.b", b"ab", b"c/d")


@given(st.lists(st.lists(st.sampled_from([b"a", b"b", b"a.b"]), min_size=1, max_size=3).map(b"/".join)))
def test_every_border_lies_in_exactly_one_outermost_one(borders: list[bytes]) -> None:
    kept = outermost(borders)
    for border in borders:
        assert sum(border == one or border.startswith(one + b"/") for one in kept) == 1
