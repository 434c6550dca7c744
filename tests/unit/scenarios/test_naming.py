"""Naming a failure as a person does."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coverage_audit.errors import UsageError
from coverage_audit.estate.hardware import Drive
from coverage_audit.estate.model import Estate, Site, SiteId
from coverage_audit.judgement.domains import DomainKind
from coverage_audit.scenarios.naming import domain_named
from tests.builders.station import HERON, KESTREL, SITES, a_device, a_volume, an_estate

KESTREL_IN_LAB = replace(KESTREL, failure_domains=(("room", "lab"), ("account", "admin")))
WITH_DRIVES = a_device("vault", a_volume("vault:main", drives=(Drive(size=10), Drive(size=20))))
ESTATE = an_estate(KESTREL_IN_LAB, HERON, WITH_DRIVES)


@pytest.mark.parametrize(
    ("text", "kind", "name"),
    [
        ("kestrel", DomainKind.DEVICE, "kestrel"),
        ("device=kestrel", DomainKind.DEVICE, "kestrel"),
        ("heron:pool", DomainKind.VOLUME, "heron:pool"),
        ("vault:main#2", DomainKind.DRIVE, "vault:main#2"),
        ("room=lab", DomainKind.SHARED, "room=lab"),
        ("lab", DomainKind.SHARED, "room=lab"),
        ("account=admin", DomainKind.ACCOUNT, "account=admin"),
        ("site=barn", DomainKind.SITE, "site=barn"),
        ("barn", DomainKind.SITE, "site=barn"),
    ],
)
def test_each_kind_is_found_as_it_is_spelled_and_by_its_bare_name(text: str, kind: DomainKind, name: str) -> None:
    found = domain_named(text, ESTATE)

    assert (found.kind, found.name) == (kind, name)


def ambiguous() -> Estate:
    return replace(ESTATE, sites=(*SITES, Site(id=SiteId("kestrel"), name="Kestrel House")))


def test_a_bare_name_of_two_things_is_refused_with_the_spellings_of_both() -> None:
    with pytest.raises(UsageError, match="'site=kestrel' or 'device=kestrel'"):
        domain_named("kestrel", ambiguous())
    assert domain_named("device=kestrel", ambiguous()).kind is DomainKind.DEVICE


@pytest.mark.parametrize(
    ("text", "guess"),
    [("kestrle", "kestrel"), ("room=lap", "room=lab"), ("Barn", "site=barn"), ("vault:main#3", "vault:main#")],
)
def test_what_is_not_there_is_refused_with_what_is_most_like_it(text: str, guess: str) -> None:
    with pytest.raises(UsageError, match=f"did you mean '{guess}"):
        domain_named(text, ESTATE)


def test_what_is_like_nothing_is_refused_with_some_names_and_shown_harmlessly() -> None:
    with pytest.raises(UsageError, match="known are site=barn"):
        domain_named("\x1b[2Jqqqqqqqqq", ESTATE)
    with pytest.raises(UsageError) as refused:
        domain_named("\x1b[2Jqqqqqqqqq", ESTATE)
    assert "\x1b" not in str(refused.value)
