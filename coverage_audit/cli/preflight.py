"""`coverage-audit preflight`: the estate, every device, its key and its volumes, before anything is audited."""

from __future__ import annotations

import getpass
from collections.abc import Iterator
from pathlib import Path

import click

from coverage_audit.audits.introduction import accept, meet, own_uncovered
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.collectors.transports.ssh import offered_host_key, remember_host_key
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, EX_NOTICE_FAILED, UsageError
from coverage_audit.estate.access import SshAccess
from coverage_audit.estate.model import DeviceId, Estate
from coverage_audit.estate.reader import read_estate
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.feasibility import cannot_be_met
from coverage_audit.notices.unheard import unheard
from coverage_audit.reports.introduction import introduction_text
from coverage_audit.wiring import assembled, try_notices

EPILOG = (
    "Exit status: 0 all devices answered and all volumes are known, 69 some did not, "
    "76 a test notice could not be delivered, 78 the estate file is wrong."
)


@click.command("preflight", epilog=EPILOG)
@click.option(
    "--trust-key", "keys", multiple=True, metavar="DEVICE", help="Accept the host key that DEVICE offers now."
)
@click.option(
    "--accept",
    "volumes",
    multiple=True,
    metavar="DEVICE:VOLUME",
    help="Pin what this volume shows now as its identity.",
)
@click.option("--test-notice", is_flag=True, help="Send a test notice to every address of the estate.")
@estate_option
@state_option
def command(
    *,
    keys: tuple[str, ...],
    volumes: tuple[str, ...],
    test_notice: bool,
    estate_file: Path,
    state_folder: Path,
) -> int:
    """Check the estate file, reach every device, show host keys and volume identities.

    Nothing is walked, and nothing is accepted but what --trust-key and --accept name.
    """
    estate = read_estate(estate_file)
    click.echo(f"{visible(str(estate_file))} is well-formed: {_counts(estate)}.")
    for line in _remarks(estate):
        click.echo(visible(line))
    for name in keys:
        _trust(estate, name)
    with assembled(estate, state_folder) as parts:
        met = meet(estate, parts)
        for name in volumes:
            key = accept(estate, met, name, parts, who=getpass.getuser())
            click.echo(f"{key}: what it shows now is pinned as its identity.")
        if volumes:
            met = meet(estate, parts)
        uncovered = own_uncovered(estate, parts)
    click.echo(introduction_text(estate, met.answers, met.identities), nl=False)
    for finding in uncovered:
        click.echo(f"\n{visible(finding.message)}\n  {visible(finding.mend)}")
    undelivered = try_notices(estate) if test_notice else ()
    for failure in undelivered:
        click.echo(f"the test notice to '{failure.target}' was not delivered: {failure.reason}", err=True)
    if undelivered:
        return EX_NOTICE_FAILED
    return EX_CONFORMING if met.all_met else EX_EVIDENCE_MISSING


def _remarks(estate: Estate) -> Iterator[str]:
    """Say what is well-formed and cannot be meant."""
    for finding in cannot_be_met(estate):
        yield f"It can never conform as it stands: {finding.message}"
    silent = unheard(estate)
    if silent is not None:
        yield silent


def _counts(estate: Estate) -> str:
    volumes = sum(len(device.volumes) for device in estate.devices)
    return (
        f"{len(estate.sites)} sites, {len(estate.devices)} devices, {volumes} volumes, {len(estate.datasets)} datasets"
    )


def _trust(estate: Estate, name: str) -> None:
    """Show the key that a device offers and remember it: the owner has asked for exactly this device."""
    try:
        access = estate.device(DeviceId(name)).access
    except KeyError:
        known = ", ".join(device.id for device in estate.devices)
        raise UsageError(f"there is no device '{name}' in the estate; it has: {known}") from None
    if not isinstance(access, SshAccess):
        raise UsageError(f"'{name}' is not reached over SSH, so it has no host key")
    offered = offered_host_key(access, estate.limits)
    file = remember_host_key(access, offered.line)
    click.echo(f"{name}: host key {offered.fingerprint} ({offered.kind}) is accepted from now on ({file}).")
    click.echo("  Compare it with what the box itself says: ssh-keygen -lf /etc/ssh/ssh_host_ed25519_key.pub")
