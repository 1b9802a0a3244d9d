"""A small board with one serial port and every kind of wire."""

import itertools
from pathlib import Path

import pytest
from support.board.bench import Change, Outcome, number_of, telemetry
from support.board.heron import HALT, MOTORS, Heron, heron_program
from support.board.programs import Program
from support.board.stork import moves, verdict


@pytest.fixture(scope="module")
def heron(tmp_path_factory: pytest.TempPathFactory) -> Program:
    return heron_program(tmp_path_factory.mktemp("heron"), edits={"telemetry: 20 ms": "telemetry: 10 ms"})


@pytest.fixture(scope="module")
def walked(heron: Program, tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    return Heron().run(heron.built, tmp_path_factory.mktemp("walked"), 1.2)


def test_it_fits_and_does_what_the_dry_run_does(heron: Program, walked: Outcome) -> None:
    assert [phase for _, phase, _ in moves(heron, walked)] == ["standing", "stretching", "standing"]
    found = verdict(heron, walked)
    assert found.words.startswith("the machine did what the dry run does, to the bit, in all "), found.words


def pulses(changes: list[Change], begin: float, end: float) -> list[tuple[float, float]]:
    """Pulses on a pin: when each began, and for how many microseconds it was high."""
    found = []
    for up, down in itertools.pairwise(changes):
        if up.level == 255 and down.level == 0 and begin < up.at < end:
            found.append((up.at, (down.at - up.at) * 1e6))
    return found


def test_servos_get_pulses_of_the_setpoint_and_of_the_output(walked: Outcome) -> None:
    assert pulses(walked.changes["neck"], 0.0, 0.28) == [], "no pulse before enable"
    still = pulses(walked.changes["neck"], 0.32, 0.42)
    assert len(still) == 5
    assert all(abs(width - 1500) < 8 for _, width in still), still
    starts = [at for at, _ in still]
    assert all(abs(b - a - 0.020) < 1e-4 for a, b in itertools.pairwise(starts))
    # 60 deg is 700 us, -60 deg is 2300 us: at 30 deg 1100 us
    (_, stretched) = pulses(walked.changes["neck"], 0.80, 0.84)[-1]
    assert abs(stretched - 1100) < 8
    assert all(abs(width - 1500) < 8 for _, width in pulses(walked.changes["tail"], 0.32, 1.2))


def test_a_motor_with_two_pins_never_has_both_on(walked: Outcome) -> None:
    assert walked.most("forward", 0.45, 0.7) > 20  # the neck is behind its setpoint
    assert walked.most("backward", 0.85, 1.2) > 20  # and on the way back before it
    times = sorted(change.at for name in ("forward", "backward") for change in walked.changes[name])
    assert not [at for at in times if min(walked.level("forward", at), walked.level("backward", at)) > 0]


def test_the_enable_line_is_low_only_while_it_runs(walked: Outcome) -> None:
    begin = next(line.at for line in walked.lines[0] if line.text.startswith("T1,0,2,"))
    levels = [(round(change.at - begin, 3), change.level) for change in walked.changes["enable"]]
    assert [level for _, level in levels if level >= 0] == [255, 0]
    assert abs(levels[-1][0]) < 0.01


def test_the_horn_sounds_for_its_time_when_the_phase_is_entered(walked: Outcome) -> None:
    low = [change for change in walked.changes["horn"] if change.level >= 0]
    assert [change.level for change in low] == [255, 0, 255]
    assert low[2].at - low[1].at == pytest.approx(0.05, abs=0.001)


def test_the_knob_sets_its_parameter(walked: Outcome) -> None:
    (written,) = telemetry(walked, "P1")
    assert written[1:3] == ["0", "00"], "before the first tick, for it is not where the file has it"
    # 511 of 1023 counts on a span of 10 to 50 deg
    assert number_of(written[3]) == pytest.approx(10 + 40 * 511 / 1023, rel=1e-6)


def test_a_bounce_is_no_event_and_a_press_is_one(heron: Program, tmp_path: Path) -> None:
    bounced = Heron()
    for k in range(6):  # 2 ms open, 2 ms closed; halt wants 40 ms of quiet
        bounced.press(HALT, 0.6 + 0.004 * k, 0.002, closed=1)
    bounced.press(HALT, 0.9, 0.09, closed=1)
    outcome = bounced.run(heron.built, tmp_path, 1.05)
    entered = moves(heron, outcome)
    assert [phase for _, phase, _ in entered] == ["standing", "stretching", "standing", "safe"]
    began = outcome.said("E1,0,")[0]
    assert 0.94 < began + entered[-1][0] < 0.97
    assert outcome.level("enable", 1.04) == 255, "drives are off in stop category 0"
    assert pulses(outcome.changes["neck"], 0.99, 1.05) == [], "a servo gets no pulses then"
    assert not verdict(heron, outcome).differs


def test_a_switch_that_opens_stops_it(heron: Program, tmp_path: Path) -> None:
    scene = Heron()
    scene.bench.pull(0.6, MOTORS, 1)
    outcome = scene.run(heron.built, tmp_path, 0.75)
    assert [phase for _, phase, _ in moves(heron, outcome)] == ["standing", "stretching", "safe"]
    assert outcome.level("enable", 0.74) == 255
    assert outcome.most("forward", 0.65, 0.75) == 0
