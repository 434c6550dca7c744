"""`python -m coverage_audit` is the command `coverage-audit`."""

from __future__ import annotations

from coverage_audit.cli.main import run

if __name__ == "__main__":
    run()
