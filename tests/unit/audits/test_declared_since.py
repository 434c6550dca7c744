"""Of what was declared otherwise since, an audit proves nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from coverage_audit.audits.declared_since import unjudged
from coverage_audit.estate.changes import in_one_line
from coverage_audit.estate.reader import estate_of
from tests.builders.two_places import two_places
from tests.parts.station import HEAD

FILE = Path("estate.yaml")
TEXT = HEAD + two_places().replace("{root}", "/srv")
PHOTOS = "  photos: {policy: careful, original: kestrel:main/photos, copies: [{at: heron:pool/photos}]}\n"


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("max_age: 26h", "max_age: 1h", "policy careful is declared otherwise: max_age"),
        ("copies: 2", "copies: 3", "policy careful is declared otherwise: copies 2, now 3"),
        ("[{at: heron:pool/recordings}]", "[{at: heron:pool/other}]", "copy field-recordings@heron:pool/other was"),
        ("[{at: heron:pool/recordings}]", "[]", "copy field-recordings@heron:pool/recordings left the estate"),
        ("kestrel:main/recordings", "kestrel:main/others", "moved from"),
        ("policy: careful", "policy: careful\n    leave_out: ['*.wav']", "leave_out none, now *.wav"),
        ("rehearsal: true", "rehearsal: false", "rehearsal yes, now none"),
    ],
)
def test_it_is_named(before: str, after: str, said: str) -> None:
    assert before in TEXT
    assert said in in_one_line(unjudged(TEXT, estate_of(TEXT.replace(before, after), FILE)))


def test_a_name_a_remark_a_time_and_what_left_unsettle_nothing() -> None:
    renamed = TEXT.replace("  field-recordings:\n", "  recordings:\n    formerly: [field-recordings]\n")
    for text in (f"# a remark\n{TEXT}", f"{TEXT}schedule: {{audit: '05:10'}}\n", renamed):
        assert unjudged(TEXT, estate_of(text, FILE)) == ()
    assert unjudged(TEXT + PHOTOS, estate_of(TEXT, FILE)) == ()


def test_the_estate_of_an_audit_that_cannot_be_read_any_more_may_have_said_anything() -> None:
    assert len(unjudged("estate: of another version\n", estate_of(TEXT, FILE))) == 1


def test_without_an_audit_there_is_nothing_to_hold_against() -> None:
    assert unjudged(None, estate_of(TEXT, FILE)) == ()
