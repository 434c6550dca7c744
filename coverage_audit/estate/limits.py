"""What an audit may use of the machine and of the boxes, and from where on something is worth saying."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What an audit may use. Defaults ship in `config/limits.yaml`; `limits:` in the estate overrules them.

    `memory` is bytes for the comparing engine; `device_time` bounds all work on one device, `read_time` any
    wait for its next byte; `clock_tolerance` is the offset above which a clock is said to disagree.
    Data that no dataset claims is a finding above `undeclared_above` bytes, looked for every `survey_every`, down to
    `survey_depth` folders below a volume. A shelf drive seen attached for longer than `attached_grace` is not offline.
    Content is read for `content_time` a night of each device, at most `content_rate` bytes a second.
    """

    memory: int
    device_time: timedelta
    read_time: timedelta
    connect_time: timedelta
    login_time: timedelta
    channels: int
    devices_at_once: int
    walkers: int
    clock_tolerance: timedelta
    undeclared_above: int
    survey_every: timedelta
    survey_depth: int
    attached_grace: timedelta
    content_time: timedelta
    content_rate: int
