"""The JSON Schema of `estate.yaml`, made of the shapes, for editors that complete and check while one writes.

`python -m coverage_audit.estate.schema` writes it into `config/`. It says what one value may be; what must fit
together across the file only the reader can say.
"""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from coverage_audit.estate.shape import EstateShape
from coverage_audit.estate.shipped import defaults_folder

FILE_NAME = "estate.schema.json"

_NOISE = ("title", "default")


def estate_schema() -> dict[str, Any]:
    """Return the schema (JSON Schema 2020-12) as plain data."""
    tidied = _tidied(EstateShape.model_json_schema())
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Coverage Audit: estate.yaml", **tidied}


def schema_text() -> str:
    """Return the schema as it stands in the file."""
    return json.dumps(estate_schema(), indent=2, ensure_ascii=False) + "\n"


def _tidied(schema: dict[str, Any]) -> dict[str, Any]:
    """Say what the reader demands: no value is null, and no key but an id where ids are the keys."""
    tidy = {key: _tidied_value(value) for key, value in schema.items() if key not in _NOISE}
    choices = tidy.pop("anyOf", None)
    if choices is not None:
        tidy |= choices[0] if len(choices) == 1 else {"anyOf": choices}
    if "patternProperties" in tidy:
        tidy.pop("propertyNames", None)
        tidy["additionalProperties"] = False
    return tidy


def _tidied_value(value: Any) -> Any:
    if isinstance(value, dict):
        return _tidied(value)
    if isinstance(value, list):
        return [_tidied_value(part) for part in value if part != {"type": "null"}]
    return value


@cache
def _schema() -> dict[str, Any]:
    return estate_schema()


def keys_at(way: tuple[str | int, ...]) -> tuple[str, ...]:
    """Return the keys that the mapping at this way through the file may have, in the schema's order."""
    here = _resolved(_schema())
    for part in way:
        here = _resolved(_below(here, part))
    return tuple(here.get("properties", ()))


def homes_of(key: str) -> tuple[str, ...]:
    """Return the mappings that know this key, by the first words of their descriptions."""
    shapes = _schema()["$defs"]
    return tuple(name.removesuffix("Shape").lower() for name in shapes if key in shapes[name].get("properties", ()))


def _below(schema: dict[str, Any], part: str | int) -> dict[str, Any]:
    if isinstance(part, int):
        found: dict[str, Any] = schema.get("items", {})
        return found
    if part in schema.get("properties", ()):
        found = schema["properties"][part]
        return found
    return next(iter(schema.get("patternProperties", {}).values()), {})


def _resolved(schema: dict[str, Any]) -> dict[str, Any]:
    """Follow a reference; of several forms the mapping is meant, since keys are asked for."""
    references = [form["$ref"] for form in (schema, *schema.get("oneOf", ())) if "$ref" in form]
    return _schema()["$defs"][references[0].rsplit("/", 1)[-1]] if references else schema


if __name__ == "__main__":
    (defaults_folder() / FILE_NAME).write_text(schema_text(), encoding="utf-8")
