"""Which host keys are known: the format of known_hosts, read line by line so that nothing is dropped silently.

Format after sshd(8), "SSH_KNOWN_HOSTS FILE FORMAT": plain and hashed names, `[host]:port`, `*`, `?`, `!`,
and the markers @revoked and @cert-authority. A revoked key is refused. Host certificates are not judged: a
@cert-authority line therefore vouches for nothing here. A line that cannot be read vouches for nothing
either, and is named where the host is not known otherwise; one that cannot be read and may revoke a key ends
the matter, since the revocation would be lost.
"""

from __future__ import annotations

import base64
import binascii
import fnmatch
import hashlib
import hmac
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind

REVOKED: Final = "@revoked"
_AUTHORITY: Final = "@cert-authority"


@dataclass(frozen=True, kw_only=True)
class HostKey:
    """A public host key: its type (as in the file, e.g. "ssh-ed25519") and its wire form."""

    kind: str
    blob: bytes

    @property
    def fingerprint(self) -> str:
        """Write it as OpenSSH does: "SHA256:" and the digest in base64 without padding."""
        return "SHA256:" + base64.b64encode(hashlib.sha256(self.blob).digest()).decode().rstrip("=")

    def line(self, host: str) -> str:
        """Return the line of known_hosts that makes it known for `host`."""
        return f"{host} {self.kind} {base64.b64encode(self.blob).decode()}"


@dataclass(frozen=True, kw_only=True)
class KnownLine:
    """One line: `key` is None where it could not be read."""

    place: str
    marker: str | None
    hosts: str
    key: HostKey | None

    def names(self, host: str) -> bool:
        """Whether the line speaks of `host` (as written by `host_name`)."""
        if self.hosts.startswith("|1|"):
            return _hashed_match(self.hosts, host)
        matched = False
        for pattern in self.hosts.lower().split(","):
            # Brackets are literal here ("[host]:port"), not a set of letters.
            if fnmatch.fnmatchcase(host, pattern.lstrip("!").replace("[", "[[]")):
                if pattern.startswith("!"):
                    return False
                matched = True
        return matched


def host_name(host: str, port: int) -> str:
    """Return the name under which known_hosts lists a host: with its port where that is not 22."""
    return host.lower() if port == 22 else f"[{host.lower()}]:{port}"


class KnownHosts:
    """All lines of the known_hosts files that count for one access."""

    def __init__(self, files: Sequence[Path], lines: Sequence[KnownLine]) -> None:
        self.files = tuple(files)
        self._lines = tuple(lines)

    def kinds(self, host: str) -> tuple[str, ...]:
        """Return the key types known for `host`, so that the box can be asked for one of these."""
        return tuple(dict.fromkeys(line.key.kind for line in self._for(host) if line.key is not None))

    def check(self, host: str, offered: HostKey) -> None:
        """Return if `offered` is known for `host`; raise TransportError of kind HOST_KEY if not."""
        self._refuse_revoked(host, offered)
        known = self._for(host)
        if any(line.key == offered for line in known):
            return
        readable = [line for line in known if line.key is not None]
        if readable:
            raise _changed(host, offered, readable)
        raise _unknown(host, offered, self.files, self._beside(host))

    def holds(self, host: str) -> str | None:
        """Return the place ("file:line") of a key known for `host`, or None."""
        return next((line.place for line in self._for(host) if line.key is not None), None)

    def _for(self, host: str) -> list[KnownLine]:
        return [line for line in self._lines if line.marker is None and line.names(host)]

    def _refuse_revoked(self, host: str, offered: HostKey) -> None:
        for line in self._lines:
            if line.marker in {None, _AUTHORITY} or not (line.key is None or line.names(host)):
                continue
            if line.marker != REVOKED or line.key is None:
                raise TransportError(
                    GapKind.HOST_KEY,
                    f"{line.place} has a marked line that cannot be read; a revoked key could hide in it, so no host "
                    "key is trusted until the line is mended or removed",
                )
            if line.key == offered:
                raise TransportError(
                    GapKind.HOST_KEY,
                    f"ALARM: {host} offered the host key {offered.fingerprint}, which {line.place} revokes; "
                    "do not log in until it is explained",
                )

    def _beside(self, host: str) -> tuple[str, ...]:
        unread = [f"{line.place} cannot be read" for line in self._for(host) if line.key is None]
        authority = [
            f"{line.place} names a certificate authority, which is not supported"
            for line in self._lines
            if line.marker == _AUTHORITY and line.names(host)
        ]
        return (*unread, *authority)


def read_known_hosts(files: Sequence[Path]) -> KnownHosts:
    """Read all files; one that does not exist holds no keys.

    Raises TransportError when a file exists and cannot be read: it could hold a revocation.
    """
    lines: list[KnownLine] = []
    for file in files:
        try:
            text = file.read_text(encoding="utf-8", errors="replace")
        except FileNotFoundError:
            continue
        except OSError as error:
            raise TransportError(GapKind.HOST_KEY, f"cannot read {file}: {os.strerror(error.errno or 0)}") from error
        numbered = enumerate(text.splitlines(), start=1)
        lines += [_line(f"{file}:{number}", line) for number, line in numbered if _speaks(line)]
    return KnownHosts(files, lines)


def _speaks(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _line(place: str, line: str) -> KnownLine:
    words = line.split()
    marker = words.pop(0) if words[0].startswith("@") else None
    hosts = words[0] if words else ""
    key = _key(words[1], words[2]) if len(words) >= 3 else None
    return KnownLine(place=place, marker=marker, hosts=hosts, key=key)


def _key(kind: str, text: str) -> HostKey | None:
    try:
        blob = base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        return None
    # RFC 4253 section 6.6: the wire form begins with its own type.
    named = kind.encode("utf-8", "replace")
    whole = blob[: 4 + len(named)] == len(named).to_bytes(4, "big") + named
    return HostKey(kind=kind, blob=blob) if whole else None


def _hashed_match(hosts: str, host: str) -> bool:
    try:
        _, _, salt, digest = hosts.split("|")
        wanted = base64.b64decode(digest, validate=True)
        found = hmac.digest(base64.b64decode(salt, validate=True), host.encode(), hashlib.sha1)
    except (binascii.Error, ValueError):
        return False
    return hmac.compare_digest(wanted, found)


def _changed(host: str, offered: HostKey, known: Sequence[KnownLine]) -> TransportError:
    listed = "; ".join(
        f"{line.key.kind} {line.key.fingerprint} ({line.place})" for line in known if line.key is not None
    )
    return TransportError(
        GapKind.HOST_KEY,
        f"ALARM: the host key of {host} has CHANGED: it offers {offered.kind} {offered.fingerprint}, known is "
        f"{listed}. The box was rebuilt, or another machine answers in its place. Nothing was sent to it. If the "
        "change is rightful, remove the old line and run: coverage-audit preflight --trust-key DEVICE",
    )


def _unknown(host: str, offered: HostKey, files: Sequence[Path], beside: Sequence[str]) -> TransportError:
    where = " or ".join(str(file) for file in files) or "any file"
    more = "".join(f"; {remark}" for remark in beside)
    return TransportError(
        GapKind.HOST_KEY,
        f"the host key of {host} is not known: it offers {offered.kind} {offered.fingerprint}, which is not in {where}"
        f"{more}. Compare it with the box's own and accept it with: coverage-audit preflight --trust-key DEVICE",
    )
