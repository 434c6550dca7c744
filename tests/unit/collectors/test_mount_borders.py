from __future__ import annotations

import pytest
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


BOUND = b"""22 1 252:0 / / ro,relatime shared:1 - ext4 /dev/vda rw
30 22 252:0 /var/lib/auditor /var/lib/auditor rw - ext4 /dev/vda rw
31 22 252:1 /@var /srv rw - btrfs /dev/vdb rw
32 31 252:1 /@var/cache /srv/cache rw - btrfs /dev/vdb rw
"""


def test_a_folder_that_is_bound_upon_itself_is_no_border() -> None:
    assert mounted_below(b"/", BOUND) == {b"srv"}
    assert mounted_below(b"/srv", BOUND) == set()


@pytest.mark.parametrize(
    "row",
    [
        b"40 22 252:0 /var/lib/other /var/lib/auditor rw - ext4 /dev/vda rw",  # another folder lies there
        b"40 22 252:9 /var/lib/auditor /var/lib/auditor rw - ext4 /dev/vdc rw",  # the same path of another filesystem
        b"40 22 0:40 / /var/lib/auditor rw - tmpfs tmpfs rw",
    ],
)
def test_what_lies_over_such_a_folder_is_one(row: bytes) -> None:
    assert mounted_below(b"/var", BOUND + row + b"\n") == {b"lib/auditor"}


def test_a_folder_bound_from_under_the_mount_around_it_is_one() -> None:
    """The same path of the same filesystem, but around it lies another one, which does not hold it."""
    over = b"41 22 252:7 / /var rw - ext4 /dev/vdd rw\n"
    over += b"42 41 252:0 /var/lib/auditor /var/lib/auditor rw - ext4 /dev/vda rw\n"
    assert mounted_below(b"/var", BOUND + over) == {b"lib/auditor"}


def test_only_the_outermost_borders_are_named() -> None:
    assert outermost([b"a/b", b"a", b"a.b", b"ab", b"c/d"]) == (b"a", b"a.b", b"ab", b"c/d")


@given(st.lists(st.lists(st.sampled_from([b"a", b"b", b"a.b"]), min_size=1, max_size=3).map(b"/".join)))
def test_every_border_lies_in_exactly_one_outermost_one(borders: list[bytes]) -> None:
    kept = outermost(borders)
    for border in borders:
        assert sum(border == one or border.startswith(one + b"/") for one in kept) == 1
