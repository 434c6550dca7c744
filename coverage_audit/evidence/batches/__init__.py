"""Bytes of listings into record batches: the only way rows enter the evidence, a block at a time."""

from __future__ import annotations
