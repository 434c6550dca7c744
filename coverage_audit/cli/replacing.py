"""Drives that are to give way to others, as they are typed: `--replace 4TB=8TB --count 2`."""

from __future__ import annotations

import click

from coverage_audit.errors import UsageError
from coverage_audit.estate.model import Volume
from coverage_audit.estate.units import parse_size
from coverage_audit.scenarios.driving import Replacing

replace_option = click.option(
    "--replace", "replace", metavar="OLD=NEW", help="Drives of a volume that are to give way: 4TB=8TB."
)
count_option = click.option(
    "--count", type=click.IntRange(1, 1000), help="How many of them give way, with --replace (else 1)."
)


def replacing_of(text: str | None, count: int | None, volume: Volume | None, example: str) -> Replacing | None:
    """Read what is to be replaced. Raises UsageError where it is no pair of sizes, or the volume has no drives."""
    if text is None and count is not None:
        raise UsageError("--count says how many drives give way: say which ones, too, with --replace OLD=NEW")
    if text is None:
        return None
    old, between, new = text.partition("=")
    if volume is None:
        raise UsageError(f"--replace needs a volume whose `drives` are declared, e.g. `{example}`")
    if not volume.drives:
        raise UsageError(f"--replace needs a volume whose `drives` are declared in the estate; {volume.key} has none")
    try:
        sizes = parse_size(old.strip()), parse_size(new.strip())
    except ValueError as error:
        raise UsageError(
            f"--replace takes two sizes, e.g. 4TB=8TB{'' if between else ' (there is no =)'}: {error}"
        ) from error
    return Replacing(old=sizes[0], new=sizes[1], count=1 if count is None else count)
