"""The wheel, away from the checkout, with everything the service needs."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from zipfile import ZipFile

import pytest

CHECKOUT = Path(__file__).parents[2]
SQUAD = """\
athlete_id,date,reported_at,last_quadriceps_at,last_quadriceps_goal,plan_goal,plan_muscle_groups
a-01,2024-03-11,2024-03-11T06:40:00Z,2024-03-10T00:40:00Z,hypertrophy,hypertrophy,quadriceps
"""


def run(*words: str, cwd: Path, **environment: str) -> str:
    told = subprocess.run(
        [sys.executable, *words],
        cwd=cwd,
        env=os.environ | environment,
        capture_output=True,
        text=True,
    )
    assert told.returncode == 0, told.stderr
    return told.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dist")
    run("-m", "hatchling", "build", "--target", "wheel", "--directory", str(folder), cwd=CHECKOUT)
    [built] = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, installed into a folder of its own; its dependencies are those of the tests."""
    folder = tmp_path_factory.mktemp("site")
    pip = ("-m", "pip", "install", "--quiet", "--no-deps", "--no-index", "--no-compile")
    run(*pip, "--target", str(folder), str(wheel), cwd=folder)
    return folder


def test_everything_in_the_package_and_in_rules_is_inside(wheel: Path) -> None:
    inside = {name for name in ZipFile(wheel).namelist() if ".dist-info/" not in name}
    package = files_below(CHECKOUT / "service", "dawnrule")
    rules = {f"dawnrule/shipped/{name}" for name in files_below(CHECKOUT, "rules")}
    assert inside == package | rules | {"dawnrule/shipped/openapi.yaml"}


def files_below(folder: Path, inner: str = ".") -> set[str]:
    found = (file for file in (folder / inner).rglob("*") if file.is_file())
    return {file.relative_to(folder).as_posix() for file in found if file.suffix != ".pyc"}


def test_the_wheel_says_what_it_is_and_how_it_is_started(wheel: Path) -> None:
    with ZipFile(wheel) as archive:
        about = {
            name.rpartition("/")[2]: name for name in archive.namelist() if "dist-info" in name
        }
        assert "Name: dawnrule" in archive.read(about["METADATA"]).decode()
        assert "dawnrule = dawnrule.cli:main" in archive.read(about["entry_points.txt"]).decode()
        assert "LICENSE" in about


def test_advice_comes_from_the_wheel_away_from_the_checkout(
    installed: Path, tmp_path: Path
) -> None:
    (tmp_path / "squad.csv").write_text(SQUAD, encoding="utf-8")
    where = run(
        "-c", "import dawnrule; print(dawnrule.__file__)", cwd=tmp_path, PYTHONPATH=str(installed)
    )
    assert Path(where.strip()).is_relative_to(installed)
    told = run("-m", "dawnrule", "advise", "squad.csv", cwd=tmp_path, PYTHONPATH=str(installed))
    assert "Swap to low-damage work  growth-work-too-soon" in told


def test_the_installed_command_knows_its_rules_and_describes_itself(
    installed: Path, tmp_path: Path
) -> None:
    listed = run("-m", "dawnrule", "rules", "list", cwd=tmp_path, PYTHONPATH=str(installed))
    assert "baseline@1.0.0" in listed
    described = run("-m", "dawnrule", "openapi", cwd=tmp_path, PYTHONPATH=str(installed))
    assert described == (CHECKOUT / "openapi.yaml").read_text(encoding="utf-8")
