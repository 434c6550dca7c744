"""What is installed is the wheel, not the checkout: it must hold everything that the program reads."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from this checkout and unpacked into a folder of its own."""
    place = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(place), str(ROOT)]
    subprocess.run(command, check=True, capture_output=True)
    (wheel,) = place.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(place / "site")
    return place / "site"


def test_the_wheel_holds_what_ships_as_defaults_templates_and_migrations(installed: Path) -> None:
    package = installed / "coverage_audit"
    for name in (file.name for file in (ROOT / "config").iterdir() if not file.name.startswith(".")):
        assert (package / "defaults" / name).read_bytes() == (ROOT / "config" / name).read_bytes()
    assert (package / "defaults/gate").read_bytes() == (ROOT / "deploy/gate").read_bytes()
    assert (package / "sample_config/estate.yaml").is_file()
    assert (package / "reports/templates/audit.html").is_file()
    assert list((package / "ledger/migrations/versions").glob("v*.py"))
    assert (package / "py.typed").is_file()


def test_the_tour_and_what_it_offers_next_run_from_the_wheel_alone(installed: Path, tmp_path: Path) -> None:
    def run(*words: str) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, "PYTHONPATH": str(installed)}
        command = [sys.executable, *words]
        return subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)

    found = run("-c", "import coverage_audit; print(coverage_audit.__file__)")
    assert found.stdout.startswith(str(installed))

    toured = run("-m", "coverage_audit", "tour", str(tmp_path / "tour"))

    assert toured.returncode == 0, toured.stderr
    assert (tmp_path / "tour" / "page.html").is_file()
    assert "Rehearsal." in toured.stdout
    offered = re.findall(r"coverage[-_]audit ((\w+) .*--state .*)", toured.stdout)
    assert [verb for _, verb in offered] == ["audit", "loss", "retire"]
    for words, verb in offered:
        ran = run("-m", "coverage_audit", *words.split())
        assert ran.returncode == 1, (verb, ran.stderr)  # each has something to say
