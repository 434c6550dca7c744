"""What reading a copy's content has shown, as part of a JSON object (`content` of a copy; null: nothing is known)."""

from __future__ import annotations

from coverage_audit.evidence.verified import Sampled, Spoilt, WholeReading
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import JudgedCopy
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json, path_object, tally_object


def content_json(copy: JudgedCopy) -> Json:
    """Write what is known of a copy's content."""
    known = copy.evidence.verified
    if known is None:
        return None
    return {
        "statement": copy.content,
        "sample": _sample(known.last),
        "under_way": _sample(known.running),
        "whole": _whole(known.whole),
        "spoilt": known.spoilt_files,
        "spoilt_files": spoilt_json(known.spoilt),
        "not_read": None if known.why_not is None else f"{known.why_not.kind} ({visible(known.why_not.detail)})",
    }


def spoilt_json(spoilt: tuple[Spoilt, ...]) -> Json:
    """Write the first spoilt files."""
    return [_spoilt(one) for one in spoilt]


def _sample(sample: Sampled | None) -> Json:
    if sample is None:
        return None
    return {
        "began": rfc3339(sample.began),
        "ended": rfc3339(sample.ended),
        "population": tally_object(sample.population),
        "asked": sample.asked,
        "same": sample.same,
        "differing": sample.differing,
        "not_readable": sample.not_shown,
        "changed_since": sample.fallen,
        "beside": sample.beside,
    }


def _whole(whole: WholeReading | None) -> Json:
    if whole is None:
        return None
    return {
        "asked": rfc3339(whole.asked),
        "ended": rfc3339(whole.ended),
        "same": tally_object(whole.same),
        "differing": whole.differing,
        "not_readable": whole.not_shown,
        "changed_meanwhile": whole.changed,
        "left": tally_object(whole.left),
        "seconds": round(whole.seconds),
        "through": rfc3339(whole.through),
    }


def _spoilt(one: Spoilt) -> Json:
    return {
        **path_object(one.path),
        "harm": one.harm,
        "bytes": one.size,
        "digest": one.digest.hex(),
        "wanted": one.wanted.hex(),
        "found": rfc3339(one.at),
        "held_by": [str(place) for place in one.held_by],
    }
