"""The base of all shapes of an estate file: no key that is not known, no value of another kind."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Strict(BaseModel):
    """A mapping of an estate file."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
