"""All rules, written down: no discovery. A rule that is not in one of these lists is not applied."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from coverage_audit.judgement import accepting, feasibility
from coverage_audit.judgement.context import DatasetContext, EstateContext
from coverage_audit.judgement.rule import Rule
from coverage_audit.judgement.rules import (
    age,
    clocks,
    completeness,
    content,
    direction,
    drill_age,
    dump_size,
    enough_copies,
    every_dataset,
    evidence_age,
    headroom,
    immutable,
    independence,
    kept_keys,
    kept_points,
    leaving_out,
    lineage,
    media,
    mount_and_identity,
    offline,
    offsite,
    one_failure,
    open_files,
    other_volumes,
    own_state,
    restore_time,
    shelf_drives,
    shrinkage,
    steady_rhythm,
    undeclared_data,
    unjudged_criterion,
    within_reach,
)
from coverage_audit.judgement.verdict import Finding

DatasetCheck = Callable[[DatasetContext], Iterable[Finding]]
EstateCheck = Callable[[EstateContext], Iterable[Finding]]

COUNTING: tuple[tuple[Rule, DatasetCheck], ...] = (
    (enough_copies.RULE, enough_copies.check),
    (media.RULE, media.check),
    (offsite.RULE, offsite.check),
    (offline.RULE, offline.check),
    (immutable.RULE, immutable.check),
)
"""They count proven copies, and so decide how far each copy is needed."""

EXPLAINING: tuple[tuple[Rule, DatasetCheck], ...] = (
    (independence.RULE, independence.check),
    (mount_and_identity.RULE, mount_and_identity.check),
    (completeness.RULE, completeness.check),
    (age.RULE, age.check),
    (evidence_age.RULE, evidence_age.check),
    (kept_points.RULE, kept_points.check),
    (steady_rhythm.RULE, steady_rhythm.check),
    (dump_size.RULE, dump_size.check),
    (content.RULE, content.check),
    (drill_age.RULE, drill_age.check),
    (shrinkage.RULE, shrinkage.check),
    (leaving_out.RULE, leaving_out.check),
    (headroom.RULE, headroom.check),
    (one_failure.RULE, one_failure.check),
    (restore_time.RULE, restore_time.check),
    (within_reach.RULE, within_reach.check),
    (kept_keys.RULE, kept_keys.check),
    (lineage.RULE, lineage.check),
    (direction.RULE, direction.check),
    (open_files.RULE, open_files.check),
    (unjudged_criterion.RULE, unjudged_criterion.check),
)
"""They say of each place what keeps it from being counted, and answer for the original itself."""

OF_THE_ESTATE: tuple[tuple[Rule, EstateCheck], ...] = (
    (clocks.RULE, clocks.check),
    (every_dataset.RULE, every_dataset.check),
    (other_volumes.RULE, other_volumes.check),
    (undeclared_data.RULE, undeclared_data.check),
    (shelf_drives.RULE, shelf_drives.check),
    (own_state.RULE, own_state.check),
)

RULES: tuple[Rule, ...] = (
    feasibility.RULE,
    *(rule for rule, _ in COUNTING),
    *(rule for rule, _ in EXPLAINING),
    *(rule for rule, _ in OF_THE_ESTATE),
    accepting.RULE,
)
"""Every rule's record, for `explain` and the documentation."""
