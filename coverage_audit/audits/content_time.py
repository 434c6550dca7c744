"""The time that one night has for reading content: so much on each device, whatever it is read for."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Final

from coverage_audit.estate.limits import Limits
from coverage_audit.estate.model import DeviceId

LEAST: Final = timedelta(seconds=1)
"""With less than this left, nothing more is begun."""


@dataclass(kw_only=True)
class ContentTime:
    """How much of a night's time each device has left, and at which rate it is read (bytes a second)."""

    limits: Limits
    _spent: dict[DeviceId, float] = field(default_factory=dict)

    def left(self, device: DeviceId) -> timedelta:
        """Return what is left of a device's time."""
        left = self.limits.content_time - timedelta(seconds=self._spent.get(device, 0.0))
        return max(left, timedelta(0))

    def is_whole(self, device: DeviceId) -> bool:
        """Whether nothing was read of a device yet in this night."""
        return not self._spent.get(device)

    def is_over(self, *devices: DeviceId) -> bool:
        """Whether one of these has no time left."""
        return any(self.left(device) < LEAST for device in devices)

    def spend(self, device: DeviceId, seconds: float) -> None:
        """Note that a device was read for so long."""
        self._spent[device] = self._spent.get(device, 0.0) + seconds

    def never_fits(self, size: int) -> bool:
        """Whether a file is larger than can be read in the whole time of one night."""
        return size > self.limits.content_time.total_seconds() * self.limits.content_rate
