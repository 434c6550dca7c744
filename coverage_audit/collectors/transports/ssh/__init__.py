"""Boxes over SSH. This package is the one door to paramiko.

client_config  the way to a box, as ~/.ssh/config has it
known_hosts    which host keys are known
handshake      from nothing to a box that offered its key
login          keys and agent
connection     SshTransport: all of it, in order
answer         what a command replies
sftp           packets of a box that offers its files alone
onboarding     making a key known, on request
own_files      the key files and known hosts that a way uses
"""

from __future__ import annotations

from coverage_audit.collectors.transports.ssh.connection import SshTransport
from coverage_audit.collectors.transports.ssh.onboarding import OfferedKey, offered_host_key, remember_host_key
from coverage_audit.collectors.transports.ssh.own_files import files_used

__all__ = ["OfferedKey", "SshTransport", "files_used", "offered_host_key", "remember_host_key"]
