import csv
import json
import re
from pathlib import Path

import pytest
from support.commands import REPOSITORY, STORK, assert_one_clear_error, call, copy_of_the_stork, run

FAULT = ("--fault", "right_leg_roll:limit=-11.4deg")


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a good recording and one in which the right leg never reaches its tilt."""
    folder = tmp_path_factory.mktemp("recordings")
    for name, options in (("good.csv", ()), ("stuck.csv", FAULT)):
        made = call("make-trace", "--follow", STORK, "--for", "20s", *options, "-o", folder / name)
        assert made.returncode == 0, made.stderr
    return folder


def test_without_a_recording_the_machine_follows_and_walks() -> None:
    done = call("dry-run", STORK)
    assert (done.returncode, done.stderr) == (0, "")
    last = done.stdout.splitlines()[-1]
    assert last.startswith("made 18 steps (counter steps) in 60.0 s; tightest guard: ")
    assert " deg to spare at " in last


def test_a_long_run_is_summed_up_and_a_short_one_listed() -> None:
    summed = call("dry-run", STORK, "--executor", "reference").stdout
    assert "visits" in summed.splitlines()[0]
    listed = call("dry-run", STORK, "--for", "5s", "--executor", "reference").stdout
    assert listed.splitlines()[0].split() == ["at", "phase", "for", "entered", "because"]
    assert listed.splitlines()[2].split()[:5] == ["1.00", "s", "lean_right", "910", "ms"]
    everything = call("dry-run", STORK, "--all", "--executor", "reference").stdout
    rows = [line.split() for line in everything.splitlines()]
    assert sum(row[2:3] == ["lift_left"] for row in rows) == 9


@pytest.mark.parametrize("executor", ["reference", "compiled", "both"])
def test_the_fault_is_told_by_every_executor(recordings: Path, executor: str) -> None:
    done = call("dry-run", STORK, recordings / "stuck.csv", "--executor", executor)
    assert done.returncode == 1
    fault = next(line for line in done.stdout.splitlines() if line.startswith("fault at "))
    assert "lean_left timed out after 5.0 s: guard 1 waited for right_leg_roll to come within 2 deg" in fault
    # planted at -11.4 deg; the sensor's noise of 0.2 deg lets it read a little more
    best, short = (float(x) for x in re.findall(r"best (\S+) deg at .*, (\S+) deg short", fault)[0])
    assert -12.6 < best <= -11.4
    assert short == pytest.approx(best + 15, abs=0.05)
    assert done.stdout.splitlines()[-1].startswith("made 1 step ")
    assert ("both executors agreed to the bit in all" in done.stderr) == (executor == "both")


def test_a_recording_runs_as_the_machine_did(recordings: Path) -> None:
    replayed = json.loads(call("dry-run", STORK, recordings / "good.csv", "--json").stdout)
    followed = json.loads(call("dry-run", STORK, "--for", "20s", "--json").stdout)
    assert replayed["transitions"] == followed["transitions"]
    assert replayed["summary"] == followed["summary"]
    assert replayed["failed"] is False


def test_a_recording_comes_through_a_pipe(recordings: Path) -> None:
    text = (recordings / "good.csv").read_text()
    done = run("dry-run", STORK, "-", "-q", text_in=text)
    assert done.returncode == 0, done.stderr
    assert done.stdout == call("dry-run", STORK, recordings / "good.csv", "-q").stdout


def test_foreign_columns_are_mapped_and_what_is_not_used_is_said(recordings: Path, tmp_path: Path) -> None:
    text = (recordings / "good.csv").read_text().replace("left_knee.value [mm]", "pot_3 [mm]", 1)
    foreign = tmp_path / "foreign.csv"
    foreign.write_text(text)
    done = call("dry-run", STORK, foreign)
    assert "columns not used: pot_3 [mm]" in done.stderr
    assert "signals without a column: left_knee" in done.stderr
    mapped = call("dry-run", STORK, foreign, "--map", "left_knee.value=pot_3")
    assert (mapped.returncode, mapped.stderr) == (0, "")


def test_a_switch_without_a_column_is_turned_on(recordings: Path, tmp_path: Path) -> None:
    with (recordings / "good.csv").open() as file:
        rows = list(csv.reader(file))
    column = rows[0].index("motors")
    without = tmp_path / "without.csv"
    with without.open("w", newline="") as file:
        csv.writer(file).writerows(row[:column] + row[column + 1 :] for row in rows)
    assert "standing" in call("dry-run", STORK, without, "--json").stdout
    off = json.loads(call("dry-run", STORK, without, "--json").stdout)
    on = json.loads(call("dry-run", STORK, without, "--json", "--on", "motors").stdout)
    assert off["steps"]["count"] == 0
    assert on["steps"]["count"] > 3


def test_what_a_recording_lacks_is_said_with_what_it_comes_to(tmp_path: Path) -> None:
    sparse = tmp_path / "sparse.csv"
    sparse.write_text("time [ms],Left_Knee,body_roll\n0,400,0\n10,400,0\n")
    said = call("dry-run", STORK, sparse).stderr
    assert "if Left_Knee is left_knee: --map left_knee=Left_Knee" in said
    assert "events without a column, so they never come: go, halt" in said
    assert "switches without a column, so they are off: motors (or --on motors)" in said
    assert "no column remote, so it is heard in every tick" in said
    assert "switches without" not in call("dry-run", STORK, sparse, "--on", "motors").stderr
    assert call("dry-run", STORK, sparse, "-q").stderr == ""


def test_a_recording_without_the_remote_says_when_it_is_heard(tmp_path: Path) -> None:
    path = tmp_path / "pressed.csv"
    rows = "".join(f"{ms},0,0,0,400,400,{'1' if ms == 100 else ''}\n" for ms in range(0, 1500, 20))
    path.write_text("time_ms,left_leg_roll,right_leg_roll,body_roll,left_knee,right_knee,go\n" + rows)
    done = call("dry-run", STORK, path, "--on", "motors")
    assert "so it is heard where a cell of go is filled (--on remote: in every tick)" in done.stderr
    assert "stopped in safe, anywhere 1: the remote was lost" in done.stdout
    heard = call("dry-run", STORK, path, "--on", "motors", "--on", "remote")
    assert "no column remote, so it is heard in every tick" in heard.stderr
    assert "remote was lost" not in heard.stdout
    assert "lean_right" in heard.stdout


def test_milliseconds_taken_for_seconds_are_noticed(tmp_path: Path) -> None:
    rows = "".join(f"{20 * i},0\n" for i in range(20))
    slow, right = tmp_path / "slow.csv", tmp_path / "right.csv"
    slow.write_text("time,body_roll\n" + rows)
    right.write_text("time [ms],body_roll\n" + rows)
    assert "rows are 19 s apart" in (said := call("dry-run", STORK, slow).stderr)
    assert "call the column time [ms]" in said
    assert "apart" not in call("dry-run", STORK, right).stderr


def test_margins_are_listed_for_each_guard() -> None:
    text = call("dry-run", STORK, "--margins", "--executor", "reference").stdout
    row = next(line for line in text.splitlines() if line.startswith("lean_right -> lift_left"))
    assert row.split()[-1] == "deg"
    without = call("dry-run", STORK, "--no-margins", "--executor", "reference").stdout
    assert without.splitlines()[-1].endswith("; margins were not recorded")


def test_every_tick_is_written_as_csv(tmp_path: Path) -> None:
    out = tmp_path / "run.csv"
    assert call("dry-run", STORK, "--for", "5s", "--out", out, "--margins").returncode == 0
    with out.open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 500
    assert rows[100]["phase"] == "lean_right"
    assert rows[100]["cause"] == "guard 1"
    # 16 deg/s for one tick of 10 ms, in binary32
    assert float(rows[100]["lean [deg]"]) == pytest.approx(0.16, abs=1e-6)
    assert rows[100]["lean.target [deg]"] == "15.0"
    assert rows[0]["battery.value [V]"] == ""  # its first sample comes later
    assert any(row["margin: lean_right guard 1 [deg]"] for row in rows)
    again = call("dry-run", STORK, "--for", "5s", "--out", "-").stdout
    assert again.splitlines()[0].startswith("time_s,phase,cause,")


def test_switches_and_presses_are_the_operators(tmp_path: Path) -> None:
    off = json.loads(call("dry-run", STORK, "--for", "5s", "--off", "motors", "--json").stdout)
    assert off["steps"]["count"] == 0
    late = json.loads(call("dry-run", STORK, "--for", "5s", "--press", "go=2s", "--json").stdout)
    assert [m["at_ms"] for m in late["transitions"]][:2] == [0, 2000]
    presses = ["--press", "go=1s", "--press", "halt=3s", "--press", "go=5s"]
    halted = call("dry-run", STORK, *presses, "--for", "6s")
    assert halted.returncode == 0
    assert "stop at 3.00 s: stopped in safe, anywhere 1: halt came" in halted.stdout
    assert "5.00 s  standing" in halted.stdout


def test_the_seed_decides_the_noise() -> None:
    def out(seed: str) -> str:
        return call("dry-run", STORK, "--for", "3s", "--seed", seed, "--out", "-").stdout

    assert out("1") == out("1") != out("2")


def test_a_broken_rule_is_a_failure(tmp_path: Path) -> None:
    gait = copy_of_the_stork(tmp_path)
    gait.write_text(gait.read_text().replace("above: 8 deg}", "above: 40 deg}"))
    done = call("dry-run", gait, "--for", "5s")
    assert done.returncode == 1
    assert "rule weight on the standing leg was broken for" in done.stdout


def test_no_recording_is_overwritten_by_a_new_one(recordings: Path) -> None:
    before = (recordings / "good.csv").read_bytes()
    done = call("make-trace", "--follow", STORK, "-o", recordings / "good.csv")
    assert done.returncode == 2
    assert (recordings / "good.csv").read_bytes() == before


def test_a_script_makes_a_recording(tmp_path: Path) -> None:
    script = tmp_path / "lean.trace.yaml"
    script.write_text(
        "trace: a lean\nlasts: 2 s\nsignals:\n  left_leg_roll:\n    shape:\n      - {hold: 1 s}\n"
        "      - {ramp: 15 deg, in: 1 s}\nevents: {go: 1 s}\nswitches: {motors: on}\n"
    )
    out = tmp_path / "lean.csv"
    done = call("make-trace", script, STORK, "-o", out)
    assert (done.returncode, done.stderr) == (0, f"written: {out}, 201 ticks\n")
    assert "left_leg_roll" in out.read_text().splitlines()[0]
    assert_one_clear_error(
        call("make-trace", script, STORK, "-o", tmp_path / "x.csv", "--on", "motors"), "--on"
    )
    seeded = [tmp_path / f"{seed}.csv" for seed in (1, 2)]
    script.write_text(script.read_text().replace("    shape:", "    noise: 0.2 deg\n    shape:"))
    for seed, path in enumerate(seeded):
        assert call("make-trace", script, STORK, "-o", path, "--seed", str(seed)).returncode == 0
    assert seeded[0].read_bytes() != seeded[1].read_bytes()
    assert call("dry-run", STORK, out).returncode == 0
    assert call("make-trace", script, STORK, "-o", tmp_path / "lean.parquet", "-q").stderr == ""
    assert call("dry-run", STORK, tmp_path / "lean.parquet", "-q").returncode == 0


def test_a_very_long_run_goes_without_margins_unless_they_are_asked_for(
    monkeypatch: pytest.MonkeyPatch, recordings: Path
) -> None:
    monkeypatch.setattr("sequencer.cli.dry_run.MOST_TICKS_WITH_MARGINS", 100)
    monkeypatch.setattr("sequencer.cli.recording.MOST_KEPT_BYTES", 1000)
    for arguments in ([STORK, "--for", "2s"], [STORK, recordings / "good.csv"]):
        done = call("dry-run", *arguments)
        assert done.stderr == "margins are off for a run of this length; --margins turns them on\n"
        assert done.stdout.splitlines()[-1].endswith("margins were not recorded")
        asked = call("dry-run", *arguments, "--margins")
        assert asked.stderr == ""
        assert "least to spare" in asked.stdout


RECORDINGS = REPOSITORY / "tests" / "recordings"


def test_a_recording_without_any_known_column_asks_for_a_mapping() -> None:
    done = call("dry-run", RECORDINGS / "treadmill.gait.yaml", RECORDINGS / "treadmill_force.csv")
    assert_one_clear_error(done, "no column of", "--map force=vertical_grf_N")


def test_a_foreign_recording_runs_with_a_mapping() -> None:
    gait, trace = RECORDINGS / "treadmill.gait.yaml", RECORDINGS / "treadmill_force.csv"
    done = call("dry-run", gait, trace, "--map", "force=vertical_grf_N", "--json")
    assert done.returncode == 0
    entered = [move["to"] for move in json.loads(done.stdout)["transitions"][1:]]
    # 47 releases by a 20 N crossing of the same signal, filtered, stand beside the recording
    assert entered.count("swing") == 47


def test_with_several_sequences_the_table_says_whose_phase_it_is() -> None:
    gait, trace = RECORDINGS / "person.gait.yaml", RECORDINGS / "person_a.csv"
    mapping = [f"--map={side}_tip_rate={side}_gyr_y_deg_s" for side in ("left", "right")]
    done = call("dry-run", gait, trace, *mapping)
    assert done.returncode == 0
    assert done.stdout.splitlines()[0].split()[:3] == ["sequence", "phase", "visits"]
    rows = [line.split()[:2] for line in done.stdout.splitlines()[1:9]]
    assert rows == [[s, p] for s in ("left", "right") for p in ("stance", "push_off", "swing", "landing")]


def test_bad_samples_are_counted_in_the_answer(tmp_path: Path) -> None:
    trace = tmp_path / "odd.csv"
    rows = ["time,left_knee,right_knee", "0,102,500", "0.01,5,500", "0.02,,500", "0.03,861,2000"]
    trace.write_text("\n".join([*rows, "0.031,102,500", "0.032,102,500", ""]))
    text = call("dry-run", STORK, trace).stdout
    row = next(line for line in text.splitlines() if line.startswith("left_knee"))
    # 5 counts are below what is believed (20); of the two rows in the fifth tick only the last counts
    assert row.split() == ["left_knee", "0", "1", "0", "1"]
    # 2000 counts are above what is believed (1003)
    other = next(line for line in text.splitlines() if line.startswith("right_knee"))
    assert other.split() == ["right_knee", "0", "1", "0", "1"]
