"""Offsite: as many proven copies at another site than the original's as the policy asks for.

What it asks: the policy's `offsite`. A copy counts when its device stands at another site, it is proven, and it is
shown apart from the original: a box that shows itself to be the original's own is not elsewhere, whatever is declared.
A shelf drive that stays attached for longer than `limits.attached_grace` stands at the site of the box it hangs on.

Why: one fire, flood or theft takes a site whole.

How to mend: look at what is not counted and why, or declare a copy on a device at another site.

The control: NIST SP 800-53 Rev. 5 CP-6, CP-6(1) and CP-9(3) (alternate storage site, apart from the primary).
The one copy offsite is that of US-CERT, Data Backup Options, 2012.
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.counting import ORIGINAL
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.shelf import attached_in_words
from coverage_audit.judgement.subjects import dataset_subject
from coverage_audit.judgement.telling import standings, with_uncounted
from coverage_audit.judgement.verdict import Finding
from coverage_audit.judgement.wording import copies

RULE = Rule(
    id="offsite",
    title="Copies at another site",
    control=supports("NIST SP 800-53 Rev. 5 CP-6, CP-6(1) and CP-9(3)"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Hold the number of proven copies at other sites against the policy's `offsite`."""
    required = context.policy.offsite
    if required is None:
        return
    span = context.holdings.offsite()
    home = context.estate.site(context.holdings.places[ORIGINAL].is_at).name
    count = f"{span} proven {'copy is' if span.certain == 1 else 'copies are'}"
    sentence = f"{'No proven copy is' if str(span) == '0' else count} elsewhere than at {home}"
    moved = [
        f"{holding.address} is at its host's site: {attached_in_words(holding.on_host, context.estate)}"
        for holding in context.holdings.places
        if holding.on_host and holding.is_at != holding.place.device.site
    ]
    yield Finding(
        rule=RULE.id,
        subject=dataset_subject(context.dataset.id),
        answer=span.answer(required),
        measured=f"{span} offsite",
        required=f"at least {copies(required)} at another site than {home}",
        message=with_uncounted("; ".join([sentence, *moved]), context),
        mend="Mend the copy at the other site, or declare one there.",
        evidence=standings(context),
        control=RULE.control,
        degree=span.lacking(required),
    )
