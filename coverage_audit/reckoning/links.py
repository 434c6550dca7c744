"""How many bytes of files a link carries: of its bits a second, those that are neither frame nor header.

A full Ethernet frame takes 8 bytes of preamble, 14 of header, the packet, 4 of checksum and 12 of gap (IEEE 802.3, from
memory): 1,538 bytes for a packet of 1,500. What is left is a bound: ciphers, small files and other traffic take more,
and links that are no Ethernet have frames of their own. Links are bits a second, what they carry is bytes a second, all
decimal: 1 Gbit/s is 1e9 bits, 1 MB is 1e6 bytes.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

FRAME: Final = 8 + 14 + 4 + 12
"""Bytes on the wire around every packet."""

TCP_IPV4: Final = 20 + 20
TCP_IPV6: Final = 40 + 20
TIMESTAMPS: Final = 12
"""Bytes of headers in every packet; timestamps (RFC 7323) come on top, by default on Linux."""

USUAL_HEADERS: Final = TCP_IPV4 + TIMESTAMPS
USUAL_PACKET: Final = 1500


def efficiency(headers: int = USUAL_HEADERS, packet: int = USUAL_PACKET) -> Fraction:
    """Return the share of a link's bits that are bytes of files, where every frame is full."""
    return Fraction(packet - headers, packet + FRAME)


def carried(link: int, headers: int = USUAL_HEADERS, packet: int = USUAL_PACKET) -> Fraction:
    """Return the bytes of files a second that a link of so many bits a second carries at most."""
    return Fraction(link, 8) * efficiency(headers, packet)
