"""What is installed is the wheel, not the checkout: it must hold everything that the program reads."""

from __future__ import annotations

import os
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


def test_the_tour_runs_from_the_wheel_alone(installed: Path, tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(installed)}
    where = [sys.executable, "-c", "import coverage_audit; print(coverage_audit.__file__)"]
    found = subprocess.run(where, cwd=tmp_path, env=environment, capture_output=True, text=True, check=True)
    assert found.stdout.startswith(str(installed))

    tour = [sys.executable, "-m", "coverage_audit", "tour", str(tmp_path / "tour")]
    done = subprocess.run(tour, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)

    assert done.returncode == 0, done.stderr
    assert (tmp_path / "tour" / "page.html").is_file()
    assert "Rehearsal." in done.stdout
