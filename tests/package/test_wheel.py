"""The wheel that a user installs works far from the checkout."""

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from support.commands import REPOSITORY


def call(*arguments: str | Path, cwd: Path, environment: dict[str, str] | None = None) -> str:
    done = subprocess.run(
        [sys.executable, *map(str, arguments)],
        cwd=cwd,
        env={**os.environ, **(environment or {})},
        capture_output=True,
        text=True,
        timeout=180,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def tracked(folder: str = ".") -> list[str]:
    listing = subprocess.run(
        ["git", "-C", str(REPOSITORY), "ls-files", "-z", folder], capture_output=True, text=True, check=True
    )
    return [name for name in listing.stdout.split("\0") if name and (REPOSITORY / name).is_file()]


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from a copy of what git tracks, with something planted that must not be in it."""
    source, folder = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("wheel")
    for name in tracked():
        target = source / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(REPOSITORY / name, target)
    planted = source / "examples" / "results" / "planted.txt"
    planted.parent.mkdir()
    planted.write_text("made by a run, not part of the project")
    options = ["--no-deps", "--no-build-isolation", "--disable-pip-version-check", "-q"]
    call("-m", "pip", "wheel", *options, "-w", folder, source, cwd=folder)
    (path,) = folder.glob("gait_sequencer-*.whl")
    return path


@pytest.fixture(scope="session")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with nothing but the wheel's contents, as an installer lays them out."""
    folder = tmp_path_factory.mktemp("installed")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    return folder


def test_the_wheel_carries_every_template_and_example(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        carried = set(archive.namelist())
    wanted = {*tracked("templates"), *tracked("examples")}
    assert any(name.startswith("templates/portable/") for name in wanted)
    assert any(name.startswith("examples/stork/") for name in wanted)
    assert {f"sequencer/_data/{name}" for name in wanted} <= carried
    assert "sequencer/py.typed" in carried


def test_the_wheel_carries_nothing_that_was_made_here(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        carried = archive.namelist()
    assert not [name for name in carried if "__pycache__" in name or "/results/" in name or "tests/" in name]


def test_the_installed_wheel_checks_and_generates_its_example(installed: Path, tmp_path: Path) -> None:
    environment = {"PYTHONPATH": str(installed)}
    where = call("-c", "import sequencer; print(sequencer.__file__)", cwd=tmp_path, environment=environment)
    assert Path(where.strip()).is_relative_to(installed)
    stork = installed / "sequencer" / "_data" / "examples" / "stork" / "stork.gait.yaml"
    call("-m", "sequencer", "check", stork, cwd=tmp_path, environment=environment)
    call("-m", "sequencer", "generate", stork, "-o", tmp_path / "out", cwd=tmp_path, environment=environment)
    assert list((tmp_path / "out").glob("*.cpp"))
