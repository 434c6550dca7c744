"""The command line: finds the command asked for, and turns every error into one message and an exit status.

Commands are imported only when they are asked for, so that `--help` costs no library.
"""

from __future__ import annotations

import importlib
import os
import sys
from typing import NoReturn

import click

from coverage_audit.errors import EX_SOFTWARE, EX_USAGE, CoverageAuditError

TRACE = "COVERAGE_AUDIT_TRACE"
"""Set in the environment, a defect of the program ends in its trace instead of one message."""

COMMANDS: dict[str, str] = {
    "audit": "Audit all datasets, or those named, now.",
    "changes": "Look back: what changed since a date, and how coverage did.",
    "daemon": "Audit every night, tell what fails, make the weekly page.",
    "drill": "Read files back out of a copy, and see that they are right.",
    "explain": "Show the evidence behind a finding and how to mend it.",
    "loss": "Show what is lost with a box, a drive, a room or a site, and when it is back.",
    "manifest": "Record a shelf drive that is plugged in now.",
    "preflight": "Check the estate, reach every device, show keys and volumes.",
    "retire": "Say whether anything on hardware exists nowhere else, before it leaves.",
    "seen": "Say that you have read a weekly mail, by the word that it bears.",
    "status": "Show whether audits happen, and how old everything is.",
    "summary": "Make the weekly page of what is recorded, without an audit.",
    "survey": "Show what lies on the volumes and what belongs to no dataset.",
    "tour": "Audit a made-up estate in a scratch folder, for real.",
    "verify": "Read the content of copies now, and hold it against the original.",
    "waive": "Accept a finding for a while, or end that.",
}
"""Each command's name and short help; the module of the same name in this folder holds it as `command`."""


class CommandsByName(click.Group):
    """A group whose commands are modules, imported when they are needed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the order in which they are shown."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command's module (None for a name that is no command)."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"coverage_audit.cli.{cmd_name}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(
    cls=CommandsByName,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog=(
        "Exit status: 0 conforming, 1 nonconforming, 69 evidence missing, 64 usage, 75 another audit is running, "
        "76 a notice could not be delivered, 78 estate file wrong."
    ),
)
@click.version_option(package_name="coverage-audit", prog_name="coverage-audit")
def coverage_audit() -> None:
    """Say, with proof, whether each body of data exists in enough independent, fresh, complete copies."""


def run() -> NoReturn:
    """Run the command line and end the process with its exit status."""
    try:
        status = coverage_audit.main(prog_name="coverage-audit", standalone_mode=False)
    except click.exceptions.Exit as stop:
        sys.exit(stop.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(EX_USAGE)
    except click.Abort:
        click.echo("coverage-audit: interrupted; nothing was recorded", err=True)
        sys.exit(130)
    except CoverageAuditError as error:
        click.echo(f"coverage-audit: {error}", err=True)
        sys.exit(error.exit_status)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(141)
    except Exception as defect:  # the last resort: a person gets a message, whatever broke
        if os.environ.get(TRACE):
            raise
        name = f"{type(defect).__name__}: {defect}".encode("ascii", "backslashreplace").decode()
        click.echo(f"coverage-audit: this is a defect of the program, and nothing was concluded: {name}", err=True)
        click.echo(f"  Please report it with what this prints when {TRACE}=1 stands in the environment.", err=True)
        sys.exit(EX_SOFTWARE)
    sys.exit(status if isinstance(status, int) else 0)
