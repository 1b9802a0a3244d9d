"""The verb that writes a run as a page."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from support.commands import STORK, assert_one_clear_error, call, copy_of_the_stork
from support.telemetry_logs import run_lines, walked

import sequencer
from sequencer.cli import recording
from sequencer.show.report import recorded, thin
from sequencer.show.report.pack import Packed, unpack

RECORDINGS = STORK.parent / "recordings"
STUCK = RECORDINGS / "foot_stuck.csv"


def document_of(path: Path) -> dict:  # type: ignore[type-arg]
    text = path.read_text()
    found = re.search(r'<script type="application/json" id="document">(.*?)</script>', text, re.S)
    assert found is not None
    return dict(json.loads(found[1]))


def numbers(document: dict, name: str) -> np.ndarray:  # type: ignore[type-arg]
    (column,) = [c for c in document["runs"][0]["columns"] if c["name"] == name and c["role"] == "signal"]
    return np.concatenate([unpack(Packed(p["type"], p["length"], p["text"])) for p in column["pieces"]])


def test_a_recording_is_run_and_shown_beside_itself(tmp_path: Path) -> None:
    recording = tmp_path / "today.csv"
    recording.write_bytes(STUCK.read_bytes())
    done = call("report", recording, "--gait", STORK, "--note", "left knee greased")
    assert done.returncode == 0, done.stderr  # the walk failed, the report did not
    assert done.stdout == ""
    assert "today.report.html" in done.stderr
    document = document_of(tmp_path / "today.report.html")
    assert document["notes"] == ["left knee greased"]
    (run,) = document["runs"]
    assert (run["name"], run["failed"], run["ticks"]) == ("today.csv", True, 3000)
    figures = {figure["name"]: figure["value"] for figure in run["figures"]}
    assert figures["today.csv"].startswith("SHA-256 ")
    assert "gait-sequencer" in figures["made by"]
    assert "stork.gait.yaml" in figures
    said = call("dry-run", STORK, recording).stdout
    for trouble in run["troubles"]:
        assert trouble["words"] in said  # one meaning: in the words of the dry run
    assert run["summary"] in said


def test_a_gait_alone_follows_its_setpoints(tmp_path: Path) -> None:
    gait = copy_of_the_stork(tmp_path)
    assert call("report", gait, "--for", "5 s").returncode == 0
    document = document_of(tmp_path / "stork.report.html")
    assert document["runs"][0]["end"] == 4990
    assert document["walk"]["gait"]["files"][0]["lines"] == gait.read_text().splitlines()


def test_two_runs_are_laid_over_each_other(tmp_path: Path) -> None:
    page = tmp_path / "two.html"
    assert call("report", STORK, STUCK, "--gait", STORK, "--for", "5 s", "-o", page).returncode == 0
    names = [run["name"] for run in document_of(page)["runs"]]
    assert names == ["signals follow their setpoints", "foot_stuck.csv"]


@pytest.mark.parametrize("order", [(STORK, STUCK), (STUCK, STORK)])
def test_a_gait_beside_a_recording_is_its_gait(order: tuple[Path, Path], tmp_path: Path) -> None:
    page, same = tmp_path / "page.html", tmp_path / "same.html"
    assert call("report", *order, "-o", page).returncode == 0
    assert call("report", STUCK, "--gait", STORK, "-o", same).returncode == 0
    assert page.read_bytes() == same.read_bytes()


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    pages = [tmp_path / name for name in ("one.html", "two.html")]
    for page in pages:
        assert call("report", STUCK, "--gait", STORK, "-o", page, "-q").stderr == ""
    assert pages[0].read_bytes() == pages[1].read_bytes()


def test_only_a_report_is_overwritten_and_never_what_it_is_made_from(tmp_path: Path) -> None:
    gait = copy_of_the_stork(tmp_path)
    page = tmp_path / "page.html"
    page.write_text("<p>my holidays</p>")
    again = ("report", gait, "--for", "1 s", "-o")
    assert_one_clear_error(call(*again, page), "exists already", "--force")
    assert page.read_text() == "<p>my holidays</p>"
    assert call(*again, page, "--force").returncode == 0
    assert call(*again, page).returncode == 0  # now it is one of ours
    before = gait.read_text()
    assert_one_clear_error(call(*again, gait, "--force"), "files to be read")
    assert gait.read_text() == before


def test_json_tells_what_was_written(tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    done = call("report", STORK, "--for", "1 s", "-o", page, "--json")
    told = json.loads(done.stdout)
    assert told["written"] == [str(page)]
    assert told["bytes"] == page.stat().st_size


def test_the_page_goes_to_standard_output(tmp_path: Path) -> None:
    done = call("report", STORK, "--for", "1 s", "-o", "-")
    assert done.returncode == 0
    assert done.stdout.startswith("<!doctype html>")
    both = call("report", STORK, "-o", "-", "--json")
    assert both.returncode == 2
    assert "leave out --json" in both.stdout


def misuses(folder: Path) -> dict[str, tuple[tuple[str | Path, ...], tuple[str, ...]]]:
    ran = folder / "ran.csv"
    call("dry-run", STORK, STUCK, "--out", ran)
    text = folder / "text.csv"
    text.write_text("this is no table\n")
    return {
        "no phase, no gait": ((STUCK,), ("foot_stuck.csv:1:1", "--gait", "phase")),
        "what a dry-run wrote": ((ran, "--gait", STORK), ("dry-run made", "recording")),
        "three runs": ((STUCK, STUCK, STUCK, "--gait", STORK), ("one RUN",)),
        "two gaits": ((STORK, STORK), ("two gaits",)),
        "a gait and another": ((STORK, "--gait", STUCK), ("leave one of them out",)),
        "missing": ((folder / "gone.csv", "--gait", STORK), ("gone.csv", "No such file")),
        "no table": ((text, "--gait", STORK), ("text.csv",)),
        "following a recording": ((STUCK, "--gait", STORK, "--for", "5 s"), ("--for",)),
        "nothing": ((), ("RUN",)),
    }


def test_misuse_is_one_clear_error_and_no_file(tmp_path: Path) -> None:
    for name, (arguments, words) in misuses(tmp_path).items():
        page = tmp_path / "never.html"
        done = call("report", *arguments, "-o", page)
        assert_one_clear_error(done, *words)
        assert not page.exists(), name


ROWS = {
    "one tick": "0,0,0,0,0,0\n",
    "no transition": "".join(f"{10 * k},0,0,0,0,0\n" for k in range(50)),
    "no sample": "".join(f"{10 * k},,,,,\n" for k in range(50)),
    "gaps": "".join(
        f"{t},{'' if t % 40 else 1.5},0,0,0,0\n" for t in [*range(0, 200, 10), *range(9000, 9200, 10)]
    ),
}


@pytest.mark.parametrize("rows", ROWS.values(), ids=ROWS.keys())
def test_odd_recordings_are_shown(tmp_path: Path, rows: str) -> None:
    recording = tmp_path / "odd.csv"
    names = ("left_leg_roll", "right_leg_roll", "body_roll", "left_knee", "right_knee")
    recording.write_text(",".join(["time [ms]", *(f"{name}.value" for name in names)]) + "\n" + rows)
    done = call("report", recording, "--gait", STORK, "-q")
    assert done.returncode == 0, done.stderr
    document = document_of(tmp_path / "odd.report.html")
    (run,) = document["runs"]
    roll = numbers(document, "left_leg_roll")
    assert len(roll) == run["ticks"] == run["kept"]["windows"][0][1]
    if ",,,," in rows:
        assert np.isnan(roll).all()
    elif "1.5" in rows:
        assert roll[-1] == np.float32(1.5)
        assert run["ticks"] == 920


def test_a_number_that_is_none_is_told_at_its_cell(tmp_path: Path) -> None:
    recording = tmp_path / "odd.csv"
    recording.write_text("time [ms],left_leg_roll.value\n0,1\n10,nan\n")
    done = call("report", recording, "--gait", STORK, "-q")
    assert_one_clear_error(done, "odd.csv:3:4", "leave the cell empty")
    assert not (tmp_path / "odd.report.html").exists()


def test_what_a_rehearsal_knew_is_shown(tmp_path: Path) -> None:
    recording = tmp_path / "rehearsed.csv"
    ticks = np.arange(200)
    clearance = np.where((ticks > 50) & (ticks < 90), 12.5, -0.1)
    feet = "truth.clearance.left_foot [mm],truth.contact.left_foot,truth.contact.right_foot"
    truth = f"{feet},truth.support_margin [mm]"
    links = ",".join(f"truth.link.left_thigh.{end} [mm]" for end in ("y1", "z1", "y2", "z2"))
    rows = [
        f"{10 * k},0.5,{c:g},{int(c < 0)},1,{30 + k},{k},2,3,4" for k, c in zip(ticks, clearance, strict=True)
    ]
    head = f"time [ms],left_leg_roll.value,{truth},{links}"
    recording.write_text("\n".join([head, *rows]) + "\n")
    assert call("report", recording, "--gait", STORK, "-q").returncode == 0
    document = document_of(tmp_path / "rehearsed.report.html")
    (run,) = document["runs"]
    found = {(c["role"], c["name"]): c for c in run["columns"]}
    shown = [unpack(Packed(p["type"], p["length"], p["text"])) for p in found["clearance", "left"]["pieces"]]
    assert shown[0].tobytes() == clearance.astype(np.float32).tobytes()
    assert ("support", "support margin") in found
    left, right = run["contacts"]
    assert (left["name"], left["side"], left["source"]) == ("left", "left", "rehearsed")
    stood = [unpack(Packed(**left[end])).tolist() for end in ("from", "to")]
    assert stood == [[0, 900], [510, 1990]]
    assert [unpack(Packed(**right[end])).tolist() for end in ("from", "to")] == [[0], [1990]]
    assert [drawn["name"] for drawn in run["drawn"]] == ["left_thigh"]
    titles = [plot["title"] for plot in run["plots"]]
    assert "foot clearance" in titles
    assert "support margin" in titles


def test_a_recording_too_long_to_keep_gives_the_same_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pages = tmp_path / "kept.html", tmp_path / "run_again.html"
    assert call("report", STUCK, "--gait", STORK, "-o", pages[0]).returncode == 0
    monkeypatch.setattr(recording, "MOST_KEPT_BYTES", 1000)
    assert call("report", STUCK, "--gait", STORK, "-o", pages[1]).returncode == 0
    assert pages[1].read_bytes() == pages[0].read_bytes()


def test_of_a_thinned_run_the_ticks_around_troubles_and_tight_guards_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(thin, "MOST_NUMBERS", 30_000)  # of about a hundred thousand
    monkeypatch.setattr(thin, "AROUND_MS", 300)
    monkeypatch.setattr(recorded, "AROUND_MS", 300)
    page = tmp_path / "page.html"
    assert call("report", STUCK, "--gait", STORK, "-o", page).returncode == 0
    (run,) = document_of(page)["runs"]
    windows = run["kept"]["windows"]
    assert run["kept"]["bucket"] > 0
    assert sum(to - start for start, to in windows) < run["ticks"] / 2
    (trouble,) = run["troubles"]
    tight = float(run["summary"].split(" at ")[-1].removesuffix(" s")) * 1000
    for at in (0, trouble["at"], tight, run["end"]):
        assert any(start <= at / 10 < to for start, to in windows), at
    whole = tmp_path / "whole.html"
    monkeypatch.undo()
    assert call("report", STUCK, "--gait", STORK, "-o", whole).returncode == 0
    signal, part = numbers(document_of(whole), "body_roll"), numbers(document_of(page), "body_roll")
    assert np.array_equal(part, np.concatenate([signal[slice(*w)] for w in windows]), equal_nan=True)


@pytest.mark.parametrize("off", [False, True])
def test_a_telemetry_log_tells_whether_the_machine_did_the_same(tmp_path: Path, off: bool) -> None:
    plan = sequencer.load(STORK).plan
    block, record = walked(plan, 600)
    if off:
        record.setpoint[400:, 0] += 1  # of the machine: it leaned further than the dry run
    log = tmp_path / "monday.log"
    log.write_bytes(b"".join(run_lines(plan, block, record)))
    done = call("report", log, "--gait", STORK)
    assert done.returncode == 0, done.stderr
    (run,) = document_of(tmp_path / "monday.report.html")["runs"]
    (told,) = [f["value"] for f in run["figures"] if f["name"] == "what the machine did"]
    assert run["failed"] is off
    assert ("tick 400" in told) is off
    assert (told in run["summary"]) is off
    assert str(tmp_path) not in json.dumps(run)
