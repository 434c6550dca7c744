"""Other texts in the place of the gate's, so that a transport can be tried with any answer."""

from __future__ import annotations

from coverage_audit.collectors.requests import Request

ANYTHING = Request(verb="about", nonce="0123456789abcdef0123456789abcdef")
"""A request whose answer is whatever the text in the gate's place prints."""
