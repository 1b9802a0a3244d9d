"""With --json every verb tells what went wrong as a document, on standard output."""

import json
from pathlib import Path

import pytest
from support.commands import STORK, call

from sequencer.cli.group import VERBS

# what can't be read, and for verbs that read no file what makes no sense
UNREADABLE: dict[str, list[str]] = {
    "new": ["stork", "--in", "nowhere"],
    "check": ["broken.gait.yaml"],
    "explain": ["no-such-code"],
    "draw": ["broken.gait.yaml"],
    "dry-run": ["broken.gait.yaml"],
    "report": ["broken.gait.yaml"],
    "plot": ["broken.gait.yaml"],
    "rehearse": ["broken.gait.yaml", "--body", "broken.body.yaml"],
    "rounding": ["broken.gait.yaml"],
    "make-trace": ["--follow", "broken.gait.yaml", "-o", "x.csv"],
    "generate": ["broken.gait.yaml", "-o", "out"],
    "prove": ["broken.gait.yaml"],
    "schema": ["leg"],
    "plan": ["broken.gait.yaml"],
}


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    text = STORK.read_text(encoding="utf-8").replace("machine: stork.machine.yaml", "machine: none.yaml")
    (tmp_path / "broken.gait.yaml").write_text(text.replace("rest: true", "rest: maybe"), encoding="utf-8")


def told(*arguments: str) -> list[dict[str, object]]:
    done = call(*arguments, "--json")
    assert (done.returncode, done.stderr) == (2, "")
    whole = json.loads(done.stdout)
    assert whole["document"] == "findings"
    assert whole["counts"]["error"] == len(whole["findings"]) > 0
    found: list[dict[str, object]] = whole["findings"]
    return found


@pytest.mark.parametrize("verb", VERBS)
def test_what_cannot_be_read_is_told_as_json(verb: str) -> None:
    found = told(verb, *UNREADABLE[verb])
    assert all(finding["message"] for finding in found)
    if "broken.gait.yaml" in UNREADABLE[verb]:
        assert [finding["code"] for finding in found] == ["no-file", "wrong-type"]


@pytest.mark.parametrize("verb", VERBS)
def test_misuse_is_told_as_json(verb: str) -> None:
    (finding,) = told(verb, "--bogus")
    assert "No such option '--bogus'" in str(finding["message"])
    assert (finding["code"], finding["place"]) == ("", None)


def test_a_bad_recording_is_told_with_its_place(tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("time,body_roll\n0,1\n0.1,x\n")
    (finding,) = told("dry-run", str(STORK), "bad.csv", "-q")
    assert finding["place"] == {"file": "bad.csv", "line": 3, "column": 5}


def test_a_file_and_a_document_do_not_mix_on_standard_output() -> None:
    for arguments in (["draw", str(STORK), "-o", "-"], ["dry-run", str(STORK), "--out", "-", "--for", "1s"]):
        (finding,) = told(*arguments)
        assert "standard output" in str(finding["message"])


def test_drawings_and_recordings_are_named_in_a_document() -> None:
    made = json.loads(call("draw", STORK, "-o", "stork.svg", "--json").stdout)
    assert (made["document"], made["written"]) == ("files", ["stork.svg"])
    made = json.loads(call("make-trace", "--follow", STORK, "--for", "1s", "-o", "x.csv", "--json").stdout)
    assert (made["written"], made["ticks"]) == (["x.csv"], 100)
