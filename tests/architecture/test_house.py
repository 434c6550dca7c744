"""The house rules that no linter knows: sizes of files and functions, layers, the top level."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "coverage_audit"
MODULES = sorted(PACKAGE.rglob("*.py"))
LONGEST_FILE = 250
LONGEST_FUNCTION = 50


def _functions(module: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def _lines_of_code(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Count a function's lines without its docstring and signature."""
    first = function.body[1] if ast.get_docstring(function) and len(function.body) > 1 else function.body[0]
    return (function.end_lineno or first.lineno) - first.lineno + 1


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_holds_one_idea_of_bounded_length(module: Path) -> None:
    length = len(module.read_text(encoding="utf-8").splitlines())
    allowed = 350 if module.name in {"model.py", "tables.py"} else LONGEST_FILE  # the types and the tables are lists
    assert length <= allowed
    too_long = {f.name: n for f in _functions(module) if (n := _lines_of_code(f)) > LONGEST_FUNCTION}
    assert not too_long


def test_no_module_is_a_drawer_for_odds_and_ends() -> None:
    drawers = {"utils", "util", "helpers", "helper", "common", "misc", "tools"}
    assert not [module for module in MODULES if module.stem in drawers or module.parent.name in drawers]


def test_imports_run_one_way() -> None:
    command = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


def test_the_top_level_is_the_agreed_one() -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, check=True, text=True).stdout
    tops = {name.split("/", 1)[0] for name in tracked.splitlines()}
    agreed = {"README.md", "DEVELOPERS.md", "LICENSE", "CHANGELOG.md", "pyproject.toml", "coverage_audit"}
    agreed |= {"config", "tests", "deploy", "sample_config", ".ci", ".gitignore"}
    assert tops <= agreed
