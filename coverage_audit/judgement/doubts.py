"""Why a copy that no evidence speaks against is still not proven: what is missing, partial, too old or too little."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Proof
from coverage_audit.evidence.difference import CopyComparison, RowClass, RowVerdict, Sample, Tally
from coverage_audit.evidence.facts import Gap, IdentityCheck, PinState, PointList
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.clock_trust import clock_trouble
from coverage_audit.judgement.content_shown import why_not_shown
from coverage_audit.judgement.copy_view import CopyView, Reasoned
from coverage_audit.judgement.defects import lacks_most
from coverage_audit.judgement.drilled import counting, rewritten, why_not
from coverage_audit.judgement.original_standing import part_not_read
from coverage_audit.judgement.verdict import Ground, Standing
from coverage_audit.judgement.wording import age, amount, duration, names, such_as, when


def another_volume(view: CopyView) -> Reasoned | None:
    """Doubt all that was seen where the volume is not shown to be the one pinned."""
    identity = view.evidence.place.identity
    if isinstance(identity, Gap):
        return _unverified(Ground.EVIDENCE, f"it was not seen: {_said(view.evidence.gap or identity)}")
    reason = _identity_trouble(view, identity)
    return _unverified(Ground.IDENTITY, reason) if reason else None


def nothing_to_go_by(view: CopyView) -> Reasoned | None:
    """Doubt where there is no comparison and no list of points, or what there is proves nothing."""
    reason = _no_points(view) or (_no_comparison(view) if view.needs_tree else None)
    return _unverified(Ground.EVIDENCE, reason) if reason else None


def clock_not_trusted(view: CopyView) -> Reasoned | None:
    """Doubt every age while a clock of either side disagrees or was not shown."""
    reason = clock_trouble(view)
    return _unverified(Ground.CLOCK, reason) if reason else None


def too_old(view: CopyView) -> Reasoned | None:
    """Doubt what was seen too long ago, of either side."""
    reason = _copy_too_old(view, view.seen_at) or _original_too_old(view)
    return _unverified(Ground.EVIDENCE, reason) if reason else None


def point_too_old(view: CopyView) -> Reasoned | None:
    """Doubt a name that leaves open whether its point is within `max_age`."""
    judged = view.evidence.point if view.comparison else view.newest_point
    if judged is None or view.now - judged.earliest <= view.max_age:
        return None
    when_said = when(judged.earliest, view.zone)
    reason = f"its recovery point “{visible(judged.name)}” may be of {when_said}, which is too old"
    return _unverified(Ground.EVIDENCE, reason)


def partly_seen(view: CopyView) -> Reasoned | None:
    """Doubt absence where part of either side was not looked into."""
    found = view.comparison
    if found is None or not view.needs_tree:
        return None
    if found.blind_original:
        return _unverified(Ground.EVIDENCE, f"{part_not_read(view.original.tree)}: what lies there is unknown")
    if found.unknown.files:
        reason = f"whether it holds {amount(found.unknown)} is unknown, as their folder in the copy could not be read"
        return _kept(Ground.EVIDENCE, reason + such_as(found, RowVerdict.UNKNOWN))
    lacks_nothing = not (found.missing.files or found.changed.files or found.folders_missing)
    if found.blind_copy and not lacks_nothing:
        return _kept(Ground.EVIDENCE, "part of the copy could not be read: what is missing may lie there")
    return None


def locked_up(view: CopyView) -> Reasoned | None:
    """Doubt that what is encrypted can be restored where nobody is declared to keep its key."""
    copy, volume = view.evidence.copy, view.evidence.place.volume
    if (copy.encrypted and not copy.key_kept) or (volume.encrypted and not volume.key_kept):
        why = "it is encrypted, and nobody is declared to keep its key: whether it can be restored is unknown"
        return Reasoned(standing=Standing.UNVERIFIED, ground=Ground.KEY, reason=why, point_stands=False)
    return None


def cannot_be_told(view: CopyView) -> Reasoned | None:
    """Doubt rows whose start no audit can place, or whose content was never seen before."""
    found = view.comparison
    if found is None or not view.needs_tree:
        return None
    if found.between_rows:
        missed = found.between_missing_audit
        after = (
            f"there being no audit between {when(missed, view.zone)} and this one" if missed else "none saw it begin"
        )
        lacking = f"{amount(found.between)} are lacking for longer than {duration(view.max_age)}"
        return _kept(Ground.EVIDENCE, f"whether {lacking} cannot be told, {after}{such_as(found, RowVerdict.BETWEEN)}")
    return _kept(Ground.EVIDENCE, _content_unverified(found)) if found.unhashed.files else None


def too_little_proof(view: CopyView) -> Reasoned | None:
    """Doubt a copy of which less was observed than is asked."""
    reached = proof_reached(view)
    if reached >= view.wanted:
        return None
    reason = f"its proof is “{reached.word}”, and “{view.wanted.word}” is asked"
    if view.comparison is not None and view.comparison.unproven.files:
        reason += f": of {amount(view.comparison.unproven)} neither times nor digests could be compared"
    if view.wanted is Proof.RESTORED:
        reason += f": {_not_read_back(view)}"
    elif view.wanted is Proof.SAMPLED and reached is Proof.LISTED:
        reason += f": {_content_not_shown(view)}"
    return _kept(Ground.EVIDENCE, reason)


def proof_reached(view: CopyView) -> Proof:
    """Return how much was observed of the copy.

    A listing that shows neither times nor digests of what it holds does not show that it holds what is meant. One that
    does, with a sample of its content that shows as much as is asked for, is more; with a drill, it is the most. Where
    a sample is asked for, a drill is none: it reads a few files, and says nothing of how many are right.
    """
    if view.comparison is not None and not view.comparison.unproven.files:
        sampled = not _content_not_shown(view)
        drills = view.evidence.drills
        drilled = counting(drills, view.drill_every, view.now) is not None and not (drills and rewritten(drills))
        if drilled and (sampled or view.wanted is not Proof.SAMPLED):
            return Proof.RESTORED
        return Proof.SAMPLED if sampled else Proof.LISTED
    return Proof.DATED if view.newest_point is not None else Proof.DECLARED


def _content_not_shown(view: CopyView) -> str | None:
    if view.verify is None:
        return "no sample of its content is asked for"
    return why_not_shown(view.evidence.verified, view.verify, view.now, view.zone)


def _not_read_back(view: CopyView) -> str:
    drills = view.evidence.drills
    if drills is None:
        return "what was read back out of it is not known"
    why = why_not(drills, view.drill_every, view.now) or rewritten(drills)
    return why or "what was read back out of it was not listed as it should be"


def _content_unverified(found: CopyComparison) -> str:
    rows = [row for row in found.samples if row.verdict is RowVerdict.UNHASHED]
    newer = Tally(files=found.unhashed.files - found.hollow.files, bytes=found.unhashed.bytes - found.hollow.bytes)
    parts = []
    if newer.files:
        said = f"{amount(newer)} bear a later time than in the original, their content unverified until hashed"
        parts.append(said + _named(row for row in rows if row.row_class is not RowClass.HOLLOW))
    if found.hollow.files:
        said = f"{amount(found.hollow)} take up far less than their size there, so their content is unverified"
        parts.append(said + _named(row for row in rows if row.row_class is RowClass.HOLLOW))
    return "; ".join(parts)


def _named(rows: Iterable[Sample]) -> str:
    said = names(rows)
    return f": {said}" if said else ""


def _identity_trouble(view: CopyView, identity: IdentityCheck) -> str | None:
    if not identity.trusted:
        said = "; ".join(identity.differences)
        if identity.state is PinState.ASKED:
            return f"{said}: say whether that is the place that you mean"
        return f"the volume is not the one pinned: {said}"
    if identity.state is PinState.BY_CONTENT and view.comparison is not None and lacks_most(view.comparison):
        return "nothing shows which volume this is, and its content does not go on: it may be another one"
    return None


def _no_points(view: CopyView) -> str | None:
    if view.evidence.copy.points is None:
        return None
    points = view.evidence.points
    if not isinstance(points, PointList):
        return f"its recovery points were not seen{f': {_said(points)}' if points else ''}"
    if not points.points:
        name, why = points.refused[0] if points.refused else ("", "")
        return (
            f"none of the {len(points.refused)} names there is a recovery point, e.g. “{visible(name)}”: {visible(why)}"
        )
    if view.needs_tree and view.comparison is not None and view.evidence.point is None:
        return "which recovery point was compared is not known"
    return None


def _no_comparison(view: CopyView) -> str | None:
    if view.void and view.evidence.comparison is not None:
        return view.void
    if view.comparison is None:
        gap = view.evidence.gap if not isinstance(view.evidence.place.identity, Gap) else None  # said already
        return f"it was not compared: {_said(gap)}" if gap else view.void or "it was not compared"
    return None


def _copy_too_old(view: CopyView, at: datetime | None) -> str | None:
    device = view.evidence.place.device
    if at is None:
        return "when it was seen is not known"
    latest = max(at, view.evidence.tree_at or at)
    if latest > view.now + view.tolerance:
        return f"what was seen of it bears a time after this audit ({when(latest, view.zone)})"
    if at >= view.started:
        return None
    allowed = view.max_age if isinstance(device.access, ShelfAccess) else device.may_be_off
    return None if allowed is not None and view.now - at <= allowed else _late(view, at)


def _late(view: CopyView, at: datetime) -> str:
    """Say how late evidence is, and of a shelf drive, when it was to be plugged in."""
    seen, device = f"{when(at, view.zone)}, {age(at, view.now)}", view.evidence.place.device
    if isinstance(device.access, ShelfAccess):
        due = when(at + view.max_age, view.zone)
        return f"it was last recorded {seen}, and was to be plugged in by {due}: {_counts(view.max_age)}"
    if device.may_be_off is None:
        return f"it was last seen {seen}, and only this audit's evidence counts"
    return f"it was last seen {seen}, and {_counts(device.may_be_off)}"


def _counts(allowed: timedelta) -> str:
    return f"evidence of {duration(allowed)} counts"


def _original_too_old(view: CopyView) -> str | None:
    found = view.comparison
    if found is None or view.now - found.original_at <= view.max_age:
        return None
    return f"the original was last seen {when(found.original_at, view.zone)}: what came since is unknown"


def _said(gap: Gap) -> str:
    return f"{gap.kind} ({visible(gap.detail)})" if gap.detail else str(gap.kind)


def _unverified(ground: Ground, reason: str) -> Reasoned:
    return Reasoned(standing=Standing.UNVERIFIED, ground=ground, reason=reason, point_stands=False)


def _kept(ground: Ground, reason: str) -> Reasoned:
    return Reasoned(standing=Standing.UNVERIFIED, ground=ground, reason=reason)
