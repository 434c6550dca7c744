"""The walker processes of the local walk: standard library only, so that they start fast and stay small."""

from __future__ import annotations
