"""The documents say what the program does: what they quote is held against it."""

from __future__ import annotations

import importlib
import os
import re
import subprocess
import sys
from pathlib import Path

from coverage_audit import errors
from coverage_audit.cli.main import COMMANDS
from coverage_audit.estate.reader import estate_of, read_estate
from coverage_audit.judgement.rule import supports
from coverage_audit.judgement.rules.catalogue import RULES

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_estate_that_the_readme_explains_is_well_formed(tmp_path: Path) -> None:
    block = next(block for block in re.findall(r"```yaml\n(.*?)```", README, re.DOTALL) if "datasets:" in block)
    file = tmp_path / "estate.yaml"
    file.write_text(block, encoding="utf-8")

    estate = read_estate(file)

    assert [dataset.id for dataset in estate.datasets] == ["field-recordings"]
    assert len(estate.datasets[0].copies) == 2


def test_what_the_install_guide_adds_to_an_estate_is_well_formed() -> None:
    install = (ROOT / "deploy/INSTALL.md").read_text(encoding="utf-8")
    estate = next(block for block in re.findall(r"```yaml\n(.*?)```", README, re.DOTALL) if "datasets:" in block)
    schedule = re.findall(r"`(schedule: .*?)`", install)
    blocks = re.findall(r"```yaml\n(.*?)```", install, re.DOTALL)
    read = estate_of("\n".join([estate, *schedule, *blocks]), ROOT / "estate.yaml")
    assert (len(schedule), [target.name for target in read.notices]) == (1, ["household"])
    assert read.alive is not None
    loaded = re.findall(r"^LoadCredential=(\w+):", (ROOT / "deploy/coverage-audit.service").read_text(), re.MULTILINE)
    assert sorted(loaded) == sorted([read.notices[0].url_credential or "", read.alive.url_credential or ""])


def test_the_readme_quotes_the_help_of_the_audit_as_it_is() -> None:
    command = [sys.executable, "-m", "coverage_audit", "audit", "--help"]
    environment = {**os.environ, "COLUMNS": "100"}
    done = subprocess.run(command, capture_output=True, text=True, check=True, env=environment, cwd=ROOT)
    assert done.stdout.strip() in README


def test_the_readme_gives_the_two_commands_and_they_are_there() -> None:
    for command in ("deploy/tour", "tests/run"):
        assert f"./{command}" in README
        assert os.access(ROOT / command, os.X_OK)


def test_the_readme_lists_the_commands_as_the_help_does() -> None:
    listed = re.findall(r"^\| `coverage-audit (\w+)` \| (.*) \|$", README, re.MULTILINE)
    assert listed == list(COMMANDS.items())


def test_every_command_is_shown_in_use_and_what_is_shown_is_a_command() -> None:
    shown = set(re.findall(r"coverage-audit ([a-z]+)\b(?!`? \|)", README))
    assert shown | {"tour"} == set(COMMANDS)  # the tour is run by its script


def test_the_options_that_the_readme_says_go_with_every_command_do() -> None:
    assert "`--estate FILE` and `--state DIRECTORY` go with every one but `tour`" in README
    for name in COMMANDS:
        command = importlib.import_module(f"coverage_audit.cli.{name}").command
        options = {option for parameter in command.params for option in parameter.opts}
        assert ({"--estate", "--state"} <= options) is (name != "tour"), name


def test_every_exit_status_stands_in_the_readme() -> None:
    listed = {int(number) for number in re.findall(r"^\| (\d+) \|", README, re.MULTILINE)}
    raised = {kind.exit_status for kind in errors.CoverageAuditError.__subclasses__()}
    assert raised | {errors.EX_CONFORMING, errors.EX_NONCONFORMING, errors.EX_SOFTWARE} <= listed


def test_the_files_that_the_documents_name_exist() -> None:
    named = re.findall(r"\]\(([\w./-]+)\)", README + DEVELOPERS)
    named += re.findall(r"`(tests/[\w/]+\.py)`", DEVELOPERS)
    assert named
    assert not [name for name in named if not (ROOT / name).exists()]


def test_the_readme_names_every_rule_with_the_control_that_it_supports_evidence_for() -> None:
    listed = re.findall(r"^\| `([a-z-]+)` \| ([^|`]+) \| ([^|`]+) \|$", README, re.MULTILINE)
    ours = "NIST SP 800-53 Rev. 5 "  # said once, above the table
    assert listed == [
        (rule.id, rule.title, rule.control.removeprefix(supports("")).replace(ours, "")) for rule in RULES
    ]
