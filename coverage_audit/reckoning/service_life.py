"""For how long hardware is taken to serve."""

from __future__ import annotations

from typing import Final

SERVICE_LIFE: Final = 5
"""Years after which hardware and drives are past their usual service life (common practice, no published source)."""
