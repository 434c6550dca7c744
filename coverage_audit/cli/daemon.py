"""`coverage-audit daemon`: the nightly unattended audit, its notices, and the weekly page."""

from __future__ import annotations

import os
import sys
from datetime import timedelta
from pathlib import Path

import click

from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.daemon.log import open_log
from coverage_audit.daemon.running import EVERY, Settings, run_daemon

EPILOG = (
    "Exit status: 0 stopped by a signal, 70 it failed and is to be started again, 75 another daemon works on the state "
    "folder, 78 the estate file is wrong (and no earlier one is known) or gives no time for the audit."
)


@click.command("daemon", epilog=EPILOG)
@click.option(
    "--log",
    "form",
    type=click.Choice(["text", "json"]),
    help="How each event is written to standard error.  [default: json under a service manager, else text]",
)
@click.option(
    "--tick",
    type=click.FloatRange(min=0.05, max=3600),
    default=EVERY.total_seconds(),
    show_default=True,
    help="Seconds between two looks at what is due.",
)
@estate_option
@state_option
def command(*, form: str | None, tick: float, estate_file: Path, state_folder: Path) -> int:
    """Audit every night at the estate's time, tell its addresses, make the weekly page; until it is stopped.

    SIGHUP lets it read the estate file at once; a changed file is noticed by itself, too.
    """
    log = open_log(os.environ, sys.stderr, as_json=None if form is None else form == "json")
    log.hear_libraries()
    settings = Settings(file=estate_file, state=state_folder, every=timedelta(seconds=tick))
    return run_daemon(settings, log, os.environ)
