"""What is asked when a shelf drive is recorded: of which box, at which path, which of its places."""

from __future__ import annotations

import pytest

from coverage_audit.audits.recording import plan_recording
from coverage_audit.errors import UsageError
from coverage_audit.estate.access import LocalAccess, ShelfAccess, SshAccess
from coverage_audit.estate.model import Copy
from coverage_audit.estate.sources import DatedFolders
from tests.builders.station import KESTREL, RECORDINGS, a_device, a_volume, an_address, an_estate, changed

SHELF = a_device("shelf-b", a_volume("shelf-b:drive", path=""), access=ShelfAccess())
MIRROR = Copy(address=an_address("shelf-b:drive/a/recordings"))
DATED = Copy(address=an_address("shelf-b:drive/nightly/{point}"), points=DatedFolders(pattern="%Y-%m-%d"))
ESTATE = an_estate(KESTREL, SHELF, datasets=(changed(RECORDINGS, copies=(MIRROR, DATED)),))


def test_a_place_is_asked_for_where_its_volume_must_lie() -> None:
    plan = plan_recording(ESTATE, "/media/b/a/recordings", "shelf-b:drive/a/recordings", None, "sha256")

    question = plan.question
    assert plan.host is None
    assert question.device.id == "shelf-b"
    assert isinstance(question.device.access, LocalAccess)
    assert [volume.path for volume in question.volumes] == ["/media/b"]
    assert question.trees == (MIRROR.address,)
    assert question.pointed == ()
    assert question.digest == "sha256"


def test_a_whole_volume_is_all_that_is_declared_on_it() -> None:
    plan = plan_recording(ESTATE, "/media/b", "shelf-b:drive", "kestrel")

    assert plan.host == "kestrel"
    assert isinstance(plan.question.device.access, SshAccess)
    assert plan.question.trees == (MIRROR.address,)
    assert plan.question.pointed == (DATED,)


@pytest.mark.parametrize(
    ("path", "wanted", "said"),
    [
        ("/media/b/recordings", "shelf-b:drive/a/recordings", "does not end in 'a/recordings'"),
        ("/recordings", "shelf-b:drive/a/recordings", "does not end in"),
        ("relative", "shelf-b:drive", "is not absolute"),
        ("/media/../b", "shelf-b:drive", r"holds '\.\.'"),
        ("/media/b", "shelf-b:drive/nightly/{point}", "dated copies are recorded with their volume"),
        ("/media/b", "shelf-b", "is no address"),
        ("/media/b", "kestrel:main/recordings", "is no shelf drive"),
    ],
)
def test_what_makes_no_sense_is_said_before_anything_is_asked(path: str, wanted: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        plan_recording(ESTATE, path, wanted, None)
