"""What every `--json` prints: one JSON object of which each text passes `visible`, and the parts that many have."""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping, Sequence

from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.visible import visible

Json = None | bool | int | str | Sequence["Json"] | Mapping[str, "Json"]


def json_object(value: Json) -> str:
    """Write it as one JSON object, without a newline at the end."""
    return json.dumps(_shown(value), ensure_ascii=False, indent=1, allow_nan=False)


def tally_object(tally: Tally) -> dict[str, Json]:
    """Write a number of files and their bytes."""
    return {"files": tally.files, "bytes": tally.bytes}


def path_object(path: bytes, name: str = "path") -> dict[str, Json]:
    """Write a path as text; its bytes beside it (base64, RFC 4648 section 4) where the text does not give them back."""
    shown = visible(path)
    if shown.encode() == path:
        return {name: shown}
    return {name: shown, f"{name}_bytes": base64.b64encode(path).decode("ascii")}


def _shown(value: Json) -> Json:
    if isinstance(value, str):
        return visible(value)
    if isinstance(value, Mapping):
        return {key: _shown(part) for key, part in value.items()}
    return [_shown(part) for part in value] if isinstance(value, Sequence) else value
