"""The catalogue of rules is complete, its ids are unique, and every rule documents itself."""

from __future__ import annotations

import ast
import re
from importlib import import_module
from pathlib import Path

import pytest

import coverage_audit.judgement.rules as room
from coverage_audit.judgement import accepting, feasibility
from coverage_audit.judgement.rule import Rule
from coverage_audit.judgement.rules.catalogue import COUNTING, EXPLAINING, OF_THE_ESTATE, RULES

FILES = sorted(
    path.stem for path in Path(room.__file__).parent.glob("*.py") if path.stem not in {"__init__", "catalogue"}
)

# Control ids: NIST SP 800-53 Rev. 5 baseline profiles, release 5.1.1+u4 (usnistgov/oscal-content, commit 88bb8deeaa81);
# CP-9(7) is in none of the baselines but is a control of the catalogue.
CONTROLS = {
    "CM-8", "CP-2", "CP-4", "CP-6", "CP-6(1)", "CP-6(2)", "CP-9", "CP-9(1)", "CP-9(2)", "CP-9(3)", "CP-9(5)", "CP-9(7)",
    "CP-10", "SI-7", "SI-12",
}  # fmt: skip


@pytest.mark.parametrize("name", FILES)
def test_every_rule_file_is_listed_once_under_its_own_name(name: str) -> None:
    module = import_module(f"coverage_audit.judgement.rules.{name}")
    checks = [check for _, check in (*COUNTING, *EXPLAINING, *OF_THE_ESTATE)]

    assert module.RULE.id == name.replace("_", "-")
    assert checks.count(module.check) == 1
    assert RULES.count(module.RULE) == 1


def test_nothing_is_listed_that_is_no_rule_file() -> None:
    assert len(RULES) == len(FILES) + 2
    assert {feasibility.RULE, accepting.RULE} <= set(RULES)
    assert len({rule.id for rule in RULES}) == len(RULES)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_every_rule_says_what_it_asks_why_how_to_mend_and_the_control(rule: Rule) -> None:
    sections = [rule.doc.find(words) for words in ("What it asks:", "Why:", "How to mend:", "The control:")]

    assert -1 not in sections
    assert sections == sorted(sections)
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", rule.id)
    assert rule.title


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_every_control_is_one_of_the_catalogue_and_is_never_said_to_be_complied_with(rule: Rule) -> None:
    named = set(re.findall(r"\b[A-Z]{2}-\d+(?:\(\d+\))?", rule.control))

    assert named
    assert named <= CONTROLS
    assert rule.control.startswith("supports evidence for ")
    assert not re.search(r"compl(y|ie)", f"{rule.control} {rule.doc}", re.IGNORECASE)


def test_what_everything_else_rests_on_cannot_be_waived_at_all() -> None:
    assert {rule.id for rule in RULES if not rule.waivable} == {"every-dataset", "waivers"}


@pytest.mark.parametrize("name", FILES)
def test_a_rule_imports_no_other_rule(name: str) -> None:
    text = (Path(room.__file__).parent / f"{name}.py").read_text(encoding="utf-8")
    imported = [node.module or "" for node in ast.walk(ast.parse(text)) if isinstance(node, ast.ImportFrom)]

    assert not [module for module in imported if module.startswith("coverage_audit.judgement.rules")]
