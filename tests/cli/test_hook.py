"""The hooks for pre-commit; reference: the tool itself, as it is on PyPI."""

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
import yaml
from support.commands import REPOSITORY

HOOKS = REPOSITORY / ".pre-commit-hooks.yaml"
FAULTY = REPOSITORY / "tests" / "corpus" / "faulty" / "dead-end-1.gait.yaml"
SOUND = REPOSITORY / "tests" / "corpus" / "sound" / "crab-leg.gait.yaml"
PRE_COMMIT = [sys.executable, "-m", "pre_commit"]


def test_the_definition_is_what_the_tool_takes() -> None:
    subprocess.run([*PRE_COMMIT, "validate-manifest", str(HOOKS)], check=True, capture_output=True)
    hooks = yaml.safe_load(HOOKS.read_text(encoding="utf-8"))
    # required: https://pre-commit.com/#creating-new-hooks
    assert all({"id", "name", "entry", "language"} <= set(hook) for hook in hooks)
    assert [hook["id"] for hook in hooks] == ["sequencer-check", "sequencer-check-machine"]


@pytest.fixture
def repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A repository that uses our hooks, with this environment's sequencer in place of an installed one."""
    for name in [name for name in os.environ if name.startswith("GIT_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("PRE_COMMIT_HOME", str(tmp_path / "cache"))
    folder = tmp_path / "walks"
    folder.mkdir()
    hooks = yaml.safe_load(HOOKS.read_text(encoding="utf-8"))
    for hook in hooks:
        hook["language"] = "system"
        hook["entry"] = hook["entry"].replace("sequencer", f"{shlex.quote(sys.executable)} -m sequencer", 1)
    hooks[1]["args"] = ["leg.gait.yaml"]
    config = {"repos": [{"repo": "local", "hooks": hooks}]}
    (folder / ".pre-commit-config.yaml").write_text(yaml.safe_dump(config), encoding="utf-8")
    subprocess.run(["git", "init", "-q"], cwd=folder, check=True)
    return folder


def hooked(folder: Path, **files: Path) -> subprocess.CompletedProcess[str]:
    for name, source in files.items():
        (folder / f"{name.replace('_', '.')}.yaml").write_bytes(source.read_bytes())
    subprocess.run(["git", "add", "."], cwd=folder, check=True)
    return subprocess.run([*PRE_COMMIT, "run"], cwd=folder, capture_output=True, text=True, check=False)


def test_a_faulty_walk_stops_the_commit(repository: Path) -> None:
    done = hooked(repository, leg_gait=SOUND, stuck_gait=FAULTY)
    assert done.returncode == 1, done.stdout + done.stderr
    assert "dead-end" in done.stdout and "stuck.gait.yaml" in done.stdout


def test_a_sound_walk_passes(repository: Path) -> None:
    done = hooked(repository, leg_gait=SOUND)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Passed" in done.stdout


def test_a_changed_machine_file_has_the_named_walks_checked(repository: Path) -> None:
    done = hooked(repository, leg_gait=FAULTY)
    machine = repository / "crab.machine.yaml"
    machine.write_text("machine: crab\ntick: 10 ms\n", encoding="utf-8")
    subprocess.run(["git", "add", "."], cwd=repository, check=True)
    command = [*PRE_COMMIT, "run", "sequencer-check-machine", "--files", "crab.machine.yaml"]
    done = subprocess.run(command, cwd=repository, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "leg.gait.yaml" in done.stdout
