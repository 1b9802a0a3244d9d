import json
from pathlib import Path

import pytest
from support.commands import call, copy_of_the_stork


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_an_empty_folder_says_how_to_begin() -> None:
    done = call()
    assert done.returncode == 0
    assert "next: sequencer new NAME" in done.stdout


def test_the_next_commands_lead_through_the_work(tmp_path: Path) -> None:
    copy_of_the_stork(tmp_path)
    seen = []
    for _ in range(3):
        command = json.loads(call("--json").stdout)["next"]
        seen.append(command.split()[1])
        assert call(*command.split()[1:]).returncode == 0
        if seen[-1] == "check":
            call("draw", "stork.gait.yaml")
        if seen[-1] == "dry-run":
            call("make-trace", "--follow", "stork.gait.yaml", "-o", "walk.csv")
    assert seen == ["check", "dry-run", "generate"]
    text = call().stdout
    assert "gait files:     stork.gait.yaml" in text
    assert "recordings:     walk.csv" in text
    assert "generated code: generated/stork_stepping.cpp" in text
    assert "next: sequencer dry-run stork.gait.yaml walk.csv" in text
