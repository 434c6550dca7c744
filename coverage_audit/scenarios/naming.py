"""Finding the failure that a person named: as it is spelled, or by its bare name where only one bears it."""

from __future__ import annotations

from coverage_audit.errors import UsageError
from coverage_audit.estate.model import Estate
from coverage_audit.estate.spelling import nearest
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.domains import Domain, DomainKind
from coverage_audit.scenarios.extent import every_domain


def domain_named(text: str, estate: Estate) -> Domain:
    """Return the failure that is meant. Raises UsageError where none is, or several may be."""
    known = every_domain(estate)
    meant = [domain for domain in known if text in _spellings(domain)]
    meant = meant or [domain for domain in known if text == _bare(domain)]
    if len(meant) == 1:
        return meant[0]
    if meant:
        ways = " or ".join(_plainest(domain) for domain in meant)
        raise UsageError(f"'{visible(text)}' may be several things: say {ways}")
    spelled = {spelling: domain.name for domain in known for spelling in (*_spellings(domain), _bare(domain))}
    guess = nearest(text, spelled)
    hint = f"did you mean '{visible(spelled[guess])}'?" if guess else f"known are {', '.join(map(_said, known[:12]))}"
    raise UsageError(f"nothing of this estate that can fail is called '{visible(text)}'; {hint}")


def _spellings(domain: Domain) -> tuple[str, ...]:
    """Return how it is spelled in full. A device's plain id is bare, too: a site may have the same."""
    if domain.kind is DomainKind.DEVICE:
        return (f"device={domain.name}",)
    return (domain.name,)


def _bare(domain: Domain) -> str:
    return domain.name.partition("=")[2] or domain.name


def _plainest(domain: Domain) -> str:
    return f"'{visible(_spellings(domain)[0])}'"


def _said(domain: Domain) -> str:
    return visible(domain.name)
