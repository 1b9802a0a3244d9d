"""Odd runs: one tick, nothing happening, no numbers, gaps, logs of other programs, two at once."""

import math
from pathlib import Path

import pytest
from support.browser import Pages, keep_picture
from support.commands import STORK, call
from support.report_page import ALL_PLOTS, ReportPage, opened
from support.reports import shown

HEAD = "time [ms],left_leg_roll.value [deg],right_leg_roll.value [deg],left_knee.value [mm],go,motors,remote"


def report_of(folder: Path, text: str, *arguments: str | Path) -> Path:
    recording, target = folder / "run.csv", folder / "report.html"
    recording.write_text(text, encoding="utf-8")
    done = call("report", recording, *arguments, "-o", target)
    assert done.returncode == 0, done.stderr
    return target


def of_stork(folder: Path, text: str) -> Path:
    return report_of(folder, text, "--gait", STORK)


def works(report: ReportPage) -> None:
    """Do everything once that can be done on a page."""
    report.page.set_viewport_size(ALL_PLOTS)
    for key in (
        "Home",
        "ArrowRight",
        "End",
        "ArrowLeft",
        "Shift+ArrowRight",
        "+",
        "-",
        "0",
        "Space",
        "Space",
    ):
        report.page.keyboard.press(key)
    report.settle()
    for size in ({"width": 360, "height": 740}, {"width": 1440, "height": 900}):
        report.page.set_viewport_size(size)
        report.settle()


def test_one_tick(pages: Pages, tmp_path: Path) -> None:
    report = opened(pages, of_stork(tmp_path, f"{HEAD}\n0,1.5,-1.5,0,,1,1\n"))
    assert report.at_ms == 0
    assert report.text(".now-block .phase-name") == "standing"
    works(report)
    assert report.at_ms == 0
    assert len(report.moves()) == 1
    keep_picture(report.page, "one-tick")


QUIET = """\
gait: quiet
machine:
  tick: 10 ms
  signals: {lean: {unit: deg, span: [-45, 45]}}
phases:
  still:
    rest: true
    leave: [{to: gone, when: {signal: lean, above: 20 deg}}]
  gone:
    leave: [{to: still, when: {signal: lean, below: 10 deg}}]
    timeout: {after: 5 s, to: still}
"""


def test_no_transition(pages: Pages, tmp_path: Path) -> None:
    gait = tmp_path / "quiet.gait.yaml"
    gait.write_text(QUIET)
    rows = "".join(f"{10 * i},1.5\n" for i in range(200))
    report = opened(pages, report_of(tmp_path, f"time_ms,lean\n{rows}", "--gait", gait))
    works(report)
    assert [row[1] for row in report.moves()] == ["\N{EN DASH} → still"]
    report.press("End")
    assert report.at_ms == 1990
    assert "since 0.00 s" in report.text(".now-block .since")
    assert report.text(".now-block .short") == "short by 18.5 deg"


def test_nothing_measured_and_gaps(pages: Pages, tmp_path: Path) -> None:
    rows = "".join(f"{10 * i},{'' if i % 7 else 3},,,{int(i == 9)},1,1\n" for i in range(100))
    later = "".join(f"{10 * i},16,12,1,,1,1\n" for i in range(400, 600))  # after 3 s without a row
    report = opened(pages, of_stork(tmp_path, f"{HEAD}\n{rows}{later}"))
    report.page.set_viewport_size(ALL_PLOTS)
    report.go(510)
    said = {name: number for _, lines in report.plotted() for name, number in lines}
    assert said["left_leg_roll"] == 3
    assert math.isnan(said["right_leg_roll"])  # never measured so far
    report.go(5500)
    said = {name: number for _, lines in report.plotted() for name, number in lines}
    assert said["left_leg_roll"] == 16
    works(report)
    keep_picture(report.page, "gaps")


LOG = "time [ms],phase,left_contact,right_contact,knee [mm]\n" + "".join(
    f"{20 * i + i % 3},{name},{left},{right},{'' if i == 30 else 2 * (i % 20)}\n"
    for i, (name, left, right) in enumerate(
        [("left_up", 0, 1)] * 20 + [("left_down", 1, 1)] * 20 + [("right_up", 1, 0)] * 25
    )
)


def test_a_log_of_another_program(pages: Pages, tmp_path: Path) -> None:
    report = opened(pages, report_of(tmp_path, LOG))
    works(report)
    assert [row[1].split(" → ")[1] for row in report.moves()] == ["left_down", "right_up"]
    report.page.set_viewport_size(ALL_PLOTS)
    report.go(20 * 21)
    assert report.text(".now-block .phase-name") == "left_down"
    said = {name: number for _, lines in report.plotted() for name, number in lines}
    assert said["knee"] == 2.0
    keep_picture(report.page, "log")
    assert not report.page.is_visible("#why")


def test_a_log_without_a_number(pages: Pages, tmp_path: Path) -> None:
    report = opened(pages, report_of(tmp_path, "time [ms],phase\n0,up\n10,up\n20,down\n"))
    works(report)
    report.press("End")
    assert report.text(".now-block .phase-name") == "down"


def test_a_log_of_one_row(pages: Pages, tmp_path: Path) -> None:
    report = opened(pages, report_of(tmp_path, "time [ms],phase,knee\n7,up,3\n"))
    works(report)
    assert report.text(".now-block .phase-name") == "up"


@pytest.fixture
def two(pages: Pages, tmp_path: Path) -> ReportPage:
    return opened(pages, shown("walk.csv", "foot_stuck.csv").write(tmp_path / "two.html"))


def test_two_runs_say_both_phases_at_the_moment(two: ReportPage) -> None:
    first, second = shown("walk.csv", "foot_stuck.csv").runs
    for at in (500, 2000, 5000, 9500, 20_000):
        two.go(at)
        names = []
        for run in (first, second):
            [phase] = [s.phase for s in run.stays(0) if s.from_ms <= at < s.to_ms]
            names.append(run.plan.sequences[0].phases[phase].name)
        assert two.texts(".now-block h3") == ["walk.csv", "foot_stuck.csv"]
        assert two.texts(".now-block .phase-name") == names


def test_two_runs_are_put_together_at_a_phase(two: ReportPage) -> None:
    first, second = shown("walk.csv", "foot_stuck.csv").runs
    phase = [p.name for p in first.plan.sequences[0].phases].index("lift_left")
    two.page.select_option("#align-phase", f"0 {phase}")
    two.settle()
    begins = [next(s.from_ms for s in run.stays(0) if s.phase == phase) for run in (first, second)]
    two.go(begins[0])
    assert two.texts(".now-block .phase-name") == ["lift_left", "lift_left"]
    since = [f"since {begin / 1000:.2f} s, for 0 ms" for begin in begins]
    assert two.texts(".now-block .since") == since


def test_both_runs_numbers_stand_in_the_plots(two: ReportPage) -> None:
    two.page.set_viewport_size(ALL_PLOTS)
    two.go(8000)
    said = {name: number for _, lines in two.plotted() for name, number in lines}
    first, second = shown("walk.csv", "foot_stuck.csv").runs
    signal = [s.name for s in first.plan.signals].index("left_leg_roll")
    for run, name in ((first, "walk.csv"), (second, "foot_stuck.csv")):
        assert run.history is not None and run.history.detail is not None and run.at_ms is not None
        tick = int((run.at_ms == 8000).argmax())
        want = float(run.history.detail.signal[tick, signal])
        assert said[f"left_leg_roll · {name}"] == want
    works(two)
