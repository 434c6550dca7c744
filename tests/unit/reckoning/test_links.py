"""What links carry, against the arithmetic of Ethernet frames and two published figures."""

from __future__ import annotations

import pytest

from coverage_audit.estate.units import parse_bit_rate
from coverage_audit.reckoning.links import TCP_IPV4, TCP_IPV6, TIMESTAMPS, USUAL_HEADERS, carried, efficiency

GBIT = 10**9

# Frame of IEEE 802.3 (from memory), packets of 1,500 bytes. Share of the bits, then MB/s at 1, 2.5 and 10 Gbit/s.
_TABLE = {
    TCP_IPV4: (0.949285, 118.661, 296.651, 1186.606),
    TCP_IPV4 + TIMESTAMPS: (0.941482, 117.685, 294.213, 1176.853),
    TCP_IPV6: (0.936281, 117.035, 292.588, 1170.351),
    TCP_IPV6 + TIMESTAMPS: (0.928479, 116.060, 290.150, 1160.598),
}


@pytest.mark.parametrize("headers", _TABLE)
def test_a_link_carries_what_frames_and_headers_leave(headers: int) -> None:
    share, *rates = _TABLE[headers]

    assert float(efficiency(headers)) == pytest.approx(share, abs=5e-7)
    for link, rate in zip((GBIT, 5 * GBIT // 2, 10 * GBIT), rates, strict=True):
        assert float(carried(link, headers)) / 1e6 == pytest.approx(rate, abs=5.1e-4)


def test_frames_a_second_are_the_published_ones() -> None:
    # 81,274 full frames and 1,488,095 of the least size a second at 1 Gbit/s (published link tables).
    assert int(carried(GBIT, 0, 1500) / 1500) == 81_274
    assert int(carried(GBIT, 0, 46) / 46) == 1_488_095


def test_larger_packets_carry_a_larger_share() -> None:
    assert float(efficiency(USUAL_HEADERS, 9000)) == pytest.approx(0.990042, abs=5e-7)
    assert float(carried(GBIT, USUAL_HEADERS, 9000)) / 1e6 == pytest.approx(123.755, abs=5e-4)


def test_a_declared_link_is_bits_and_what_it_carries_is_bytes() -> None:
    assert float(carried(parse_bit_rate("2.5 Gbit/s"))) / 1e6 == pytest.approx(294.213, abs=5e-4)
    assert float(carried(parse_bit_rate("1 Gbit/s"))) / 1024**2 == pytest.approx(112.233, abs=5e-4)
