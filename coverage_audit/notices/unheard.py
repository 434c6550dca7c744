"""What an estate tells nobody: no address at all, none that hears what fails, or none for a policy."""

from __future__ import annotations

from coverage_audit.estate.model import Estate, NoticeKind
from coverage_audit.judgement.wording import joined


def unheard(estate: Estate) -> str | None:
    """Say what would fail without anybody being told (None: all is heard by some address)."""
    hearing = [target for target in estate.notices if NoticeKind.FAILING in target.send]
    if not hearing:
        return "Nobody is told what fails: no address under `notices:` has `send: [failing]`."
    if any(target.policies is None for target in hearing):
        return None
    heard = {policy for target in hearing for policy in target.policies or ()}
    lacking = [dataset.id for dataset in estate.datasets if dataset.policy not in heard]
    if not lacking:
        return None
    return f"Nobody is told when {joined(lacking)} fails: no address with `send: [failing]` hears of that policy."
