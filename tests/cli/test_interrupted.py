"""Ctrl-C, closed pipes, full disks: one line, no traceback, nothing half written."""

import os
import resource
import signal
import subprocess
import time
from pathlib import Path

import pytest
from support.commands import COMMAND, STORK, assert_one_clear_error, call, copy_of_the_stork

LONG = ["dry-run", str(STORK), "--for", "20h", "-q"]


def start(*arguments: str, **more: object) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [*COMMAND, *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **more,  # type: ignore[call-overload]
    )


def wait_until_busy(process: "subprocess.Popen[str]") -> None:
    """Wait until the process has used a second of processor time: by then it is past its start."""
    ticks_per_second = os.sysconf("SC_CLK_TCK")
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and process.poll() is None:
        fields = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
        if (int(fields[11]) + int(fields[12])) / ticks_per_second > 2.0:
            return
        time.sleep(0.05)
    raise AssertionError(f"the process did not get busy; exit code {process.poll()}")


@pytest.mark.parametrize("executor", ["reference", "compiled"])
def test_ctrl_c_ends_a_long_dry_run_with_one_line(executor: str, tmp_path: Path) -> None:
    process = start(*LONG, "--executor", executor, "--out", str(tmp_path / "run.csv"))
    wait_until_busy(process)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert out == ""
    assert err.splitlines()[-1] == "error: interrupted; no file was left half written"
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_while_a_recording_is_written_leaves_no_file(tmp_path: Path) -> None:
    gait = copy_of_the_stork(tmp_path)
    before = sorted(tmp_path.iterdir())
    out = tmp_path / "t.csv"
    process = start("make-trace", "--follow", str(gait), "--for", "20h", "-o", str(out))
    wait_until_busy(process)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert err.count("\n") == 1
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    "arguments", [["explain"], ["plan", str(STORK), "--json"], ["draw", str(STORK), "-o", "-"]]
)
def test_a_reader_that_goes_away_is_no_drama(arguments: list[str]) -> None:
    reading, writing = os.pipe()
    os.close(reading)  # nobody will ever read
    process = subprocess.run(
        [*COMMAND, *arguments], stdout=writing, stderr=subprocess.PIPE, text=True, timeout=60, check=False
    )
    os.close(writing)
    assert process.returncode == 2
    assert process.stderr == ""


def test_head_takes_the_first_line_and_nothing_complains() -> None:
    command = " ".join(COMMAND) + " schema gait | head -n 1"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "{\n", "")


@pytest.mark.parametrize("arguments", [["explain"], ["plan", str(STORK)], ["draw", str(STORK), "-o", "-"]])
def test_a_full_disk_behind_standard_output_is_told(arguments: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        process = subprocess.run(
            [*COMMAND, *arguments], stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False
        )
    assert process.returncode == 2
    assert process.stderr == "error: the disk is full\n"


def test_a_full_device_is_named() -> None:
    assert_one_clear_error(call("draw", STORK, "-o", "/dev/full"), "/dev/full", "the disk is full")


def _files_of_at_most_4_kilobytes() -> None:
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))


@pytest.mark.parametrize(
    "arguments",
    [
        ["draw", "stork.gait.yaml", "-o", "stork.svg"],
        ["generate", "stork.gait.yaml", "-o", "."],
        ["dry-run", "stork.gait.yaml", "-q", "--executor", "reference", "--out", "run.csv"],
        ["make-trace", "--follow", "stork.gait.yaml", "-o", "trace.csv"],
    ],
    ids=lambda a: a[0],
)
def test_a_file_that_does_not_fit_is_not_left_in_part(arguments: list[str], tmp_path: Path) -> None:
    copy_of_the_stork(tmp_path)
    before = sorted(tmp_path.iterdir())
    process = start(*arguments, cwd=tmp_path, preexec_fn=_files_of_at_most_4_kilobytes)
    _, err = process.communicate(timeout=120)
    assert process.returncode == 2
    assert err.count("error:") == 1
    assert "Traceback" not in err
    assert sorted(tmp_path.iterdir()) == before


def test_a_terminal_that_knows_only_ascii_gets_question_marks(tmp_path: Path) -> None:
    gait = tmp_path / "größe.gait.yaml"
    gait.write_text("gait: größe\nmachine: {}\n", encoding="utf-8")
    process = subprocess.run(
        [*COMMAND, "check", str(gait)],
        env={**os.environ, "PYTHONIOENCODING": "ascii:strict"},
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert process.returncode == 2
    assert process.stderr == b""
    assert b"gr??e.gait.yaml:1:7: error:" in process.stdout


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-"])
def test_closed_streams_are_no_fault_of_ours(closed: str) -> None:
    command = " ".join(COMMAND) + f" explain dead-ned {closed}"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert ("there is no code" in done.stderr) is ("2>" not in closed)
