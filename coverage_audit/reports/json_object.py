"""What every `--json` prints: one JSON object of which each text passes `visible`."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

from coverage_audit.evidence.visible import visible

Json = None | bool | int | str | Sequence["Json"] | Mapping[str, "Json"]


def json_object(value: Json) -> str:
    """Write it as one JSON object, without a newline at the end."""
    return json.dumps(_shown(value), ensure_ascii=False, indent=1, allow_nan=False)


def _shown(value: Json) -> Json:
    if isinstance(value, str):
        return visible(value)
    if isinstance(value, Mapping):
        return {key: _shown(part) for key, part in value.items()}
    return [_shown(part) for part in value] if isinstance(value, Sequence) else value
