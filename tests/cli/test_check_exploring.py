"""`sequencer check` explores: the options, the recordings and how they replay."""

import json
from pathlib import Path

import pytest
from support.commands import REPOSITORY

from sequencer.cli.main import main

RACE = REPOSITORY / "tests/corpus/faulty/leave-together-1.gait.yaml"
BROKEN = REPOSITORY / "tests/corpus/faulty/phases-break-rule-1.gait.yaml"
FAR = REPOSITORY / "tests/corpus/faulty/not-finished-1.gait.yaml"
Capture = pytest.CaptureFixture[str]


def test_recordings_are_written_and_the_finding_says_how_to_replay_them(
    tmp_path: Path, capsys: Capture
) -> None:
    folder = tmp_path / "shown"
    assert main(["check", str(BROKEN), "--counterexamples", str(folder)]) == 1
    told = capsys.readouterr()
    recording = folder / "phases-break-rule-1.csv"
    assert f"sequencer dry-run {BROKEN} {recording} --executor both" in told.out
    assert "1 recording written" in told.err
    assert [path.name for path in folder.iterdir()] == [recording.name]
    assert main(["dry-run", str(BROKEN), str(recording), "--executor", "both"]) == 1
    told = capsys.readouterr()
    assert "one foot in the air" in told.out
    assert "both executors agreed" in told.err


def test_without_a_folder_the_finding_says_how_to_get_one(capsys: Capture) -> None:
    assert main(["check", str(RACE)]) == 0
    assert "--counterexamples DIR" in capsys.readouterr().out


def test_no_exhaustive_leaves_it_out(capsys: Capture) -> None:
    assert main(["check", str(BROKEN), "--no-exhaustive"]) == 0
    assert "[phases-break-rule]" not in capsys.readouterr().out
    assert main(["check", str(BROKEN), "--no-exhaustive", "--counterexamples", "shown"]) == 2
    assert "--no-exhaustive" in capsys.readouterr().err


def test_beyond_the_bound_it_says_so_and_exhaustive_goes_further(capsys: Capture) -> None:
    assert main(["check", str(FAR), "--json"]) == 0
    codes = [finding["code"] for finding in json.loads(capsys.readouterr().out)["findings"]]
    assert "not-finished" in codes
    assert main(["check", str(FAR), "--json", "--exhaustive"]) == 0
    codes = [finding["code"] for finding in json.loads(capsys.readouterr().out)["findings"]]
    assert "not-finished" not in codes


def test_several_walks_get_a_folder_each(tmp_path: Path, capsys: Capture) -> None:
    assert main(["check", str(RACE), str(BROKEN), "--counterexamples", str(tmp_path)]) == 1
    assert sorted(str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*.csv")) == [
        "leave-together-1/leave-together-1.csv",
        "phases-break-rule-1/phases-break-rule-1.csv",
    ]


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "shown").write_text("mine", encoding="utf-8")
    assert main(["check", str(RACE), "--counterexamples", str(tmp_path / "shown")]) == 2
    assert "is a file" in capsys.readouterr().err
    assert (tmp_path / "shown").read_text(encoding="utf-8") == "mine"
