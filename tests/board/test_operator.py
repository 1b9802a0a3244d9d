"""Enable, the stop contact, the button, the remote: who may let it move, and how fast it stops."""

import itertools
from collections.abc import Callable
from pathlib import Path

import pytest
from support.board.bench import Outcome, telemetry
from support.board.programs import Program
from support.board.stork import BUTTON, PINS, STOP, Scene, moves, verdict

MOTORS = [name for name in PINS if name not in ("enable", "horn", "sensor_reset")]
STAGES = "sensors enable running stopped".split()


def off(outcome: Outcome, begin: float, end: float) -> bool:
    """Whether the enable line and every motor was off in a stretch of time."""
    return all(outcome.most(name, begin, end) <= 0 for name in ("enable", *MOTORS))


def starts(outcome: Outcome) -> list[float]:
    """When walks began."""
    return outcome.said("E1,0,00,")


def stage_at(outcome: Outcome, at: float) -> str:
    last = [line.text for line in outcome.lines[0] if line.text.startswith("T1") and line.at <= at][-1]
    return STAGES[int(last.split(",")[2])]


def test_motors_are_off_until_enable(stork: Program, tmp_path: Path) -> None:
    outcome = Scene(stork.plan).run(stork.built.elf, tmp_path, 0.6)
    (began,) = starts(outcome)
    assert off(outcome, 0.0, began - 0.01)
    assert outcome.level("enable", began + 0.01) == 255
    assert [line.text for line in outcome.lines[0] if line.text.startswith("# ")][
        -1
    ] == "# waiting for enable"
    assert (stage_at(outcome, 0.1), stage_at(outcome, 0.35), stage_at(outcome, 0.55)) == tuple(STAGES[:3])


def test_without_enable_nothing_ever_moves(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.enable_at = 0.0
    outcome = scene.run(stork.built.elf, tmp_path, 1.2)
    assert off(outcome, 0.0, 1.2)
    assert moves(stork, outcome) == []


def wobble(at: float, value: float) -> float:
    return value + 3.0 * (int(at * 25) % 2)


REFUSALS: dict[str, tuple[str, Callable[[float, float], float | None], str]] = {
    "moving": ("body_roll", wobble, "body_roll has not been still for long enough"),
    "silent": ("left_leg_roll", lambda at, value: None, "left_leg_roll is silent"),
    "outside": ("right_leg_roll", lambda at, value: 60.0, "right_leg_roll is outside its span"),
    "unbelieved": ("left_hip_pot", lambda at, value: 100.0, "left_hip_pot is not believed"),
    "flat battery": ("battery", lambda at, value: 8.0, "battery is outside its span"),
}


@pytest.mark.parametrize("kind", REFUSALS)
def test_enable_is_refused_with_the_reason(kind: str, stork: Program, tmp_path: Path) -> None:
    name, change, reason = REFUSALS[kind]
    scene = Scene(stork.plan)
    scene.sensors[name] = change
    outcome = scene.run(stork.built.elf, tmp_path, 0.55)
    assert outcome.said(f"# not enabled: {reason}")
    assert off(outcome, 0.0, 0.55)
    assert stage_at(outcome, 0.5) == "sensors"


def test_it_is_enough_that_the_sensors_are_still_in_the_end(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.sensors["body_roll"] = lambda at, value: wobble(at, value) if at < 0.3 else value
    scene.bench.send(0.55, "enable\n")
    outcome = scene.run(stork.built.elf, tmp_path, 0.7)
    assert outcome.said("# not enabled: body_roll has not been still")
    assert starts(outcome)


def test_disable_in_the_middle_of_a_phase_turns_all_off_and_the_walk_starts_over(
    stork: Program, tmp_path: Path
) -> None:
    scene = Scene(stork.plan)
    scene.frozen_at = 1.2
    scene.bench.send(1.2, "disable\n")
    scene.bench.send(1.6, "enable\n")
    outcome = scene.run(stork.built.elf, tmp_path, 1.8)
    (told,) = outcome.said("# disabled")
    assert outcome.most("enable", 1.15, 1.19) == 255
    assert told - 1.2 < 0.01, "within one tick"
    assert off(outcome, told, starts(outcome)[1] - 0.01)
    assert [phase for _, phase, _ in moves(stork, outcome)] == ["standing", "lean_right", "standing"]
    assert not verdict(stork, outcome).differs


def test_the_button_enables_and_a_second_press_disables(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.enable_at = 0.0
    for at in (0.4, 0.9):
        scene.bench.pull(at, BUTTON, 0)
        scene.bench.pull(at + 0.06, BUTTON, 1)
    outcome = scene.run(stork.built.elf, tmp_path, 1.0)
    assert 0.42 < starts(outcome)[0] < 0.46
    assert outcome.said("# disabled by the button")
    assert off(outcome, 0.96, 1.0)


@pytest.mark.parametrize("at", [1.2, 1.2013, 1.2047, 1.2079])
def test_the_stop_contact_stops_within_microseconds(at: float, stork: Program, tmp_path: Path) -> None:
    """By its interrupt, whatever the program is doing: in the middle of a tick, too."""
    scene = Scene(stork.plan)
    scene.bench.pull(at, STOP, 1)
    outcome = scene.run(stork.built.elf, tmp_path, 1.3)
    changes = [(c.at, name) for name in ("enable", *MOTORS) for c in outcome.changes[name] if c.at >= at]
    latency_us = (max(changes)[0] - at) * 1e6
    assert outcome.level("enable", at - 0.0001) == 255
    assert 0 < latency_us < 200, f"{latency_us:.0f} us"
    assert off(outcome, at + 200e-6, 1.3)
    assert stage_at(outcome, 1.25) == "stopped"


def test_after_the_stop_contact_it_starts_over_and_only_by_enable(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.frozen_at = 1.2
    scene.bench.pull(1.2, STOP, 1)
    scene.bench.send(1.25, "enable\n")  # while it is open
    scene.bench.pull(1.3, STOP, 0)
    scene.bench.send(1.7, "enable\n")
    outcome = scene.run(stork.built.elf, tmp_path, 1.85)
    assert outcome.said("# not enabled: the stop contact is open")
    assert off(outcome, 1.2002, starts(outcome)[1] - 0.01)
    assert [phase for _, phase, _ in moves(stork, outcome)] == ["standing", "lean_right", "standing"]


def test_a_stop_contact_with_a_broken_wire_is_open(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.bench.pull(0.0, STOP, 1)  # the pull-up has it high
    outcome = scene.run(stork.built.elf, tmp_path, 0.6)
    assert off(outcome, 0.0, 0.6)
    assert stage_at(outcome, 0.55) == "stopped"


def test_a_remote_that_falls_silent_stops_the_walk(stork: Program, tmp_path: Path) -> None:
    """It is lost after 500 ms, and lost leads to safe."""
    scene = Scene(stork.plan)
    scene.said = lambda at, text: text if at < 1.0 else ""
    outcome = scene.run(stork.built.elf, tmp_path, 1.6)
    entered = moves(stork, outcome)
    assert [(phase, cause) for _, phase, cause in entered[2:]] == [("safe", "anywhere")]
    began = starts(outcome)[0]
    assert 1.4 < began + entered[-1][0] < 1.53
    assert not verdict(stork, outcome).differs


def test_the_remote_can_do_no_more_than_it_carries(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.bench.send(0.9, "disable\nlean_angle=11\n?\nversion\n", port=2)
    outcome = scene.run(stork.built.elf, tmp_path, 1.0)
    assert stage_at(outcome, 0.99) == "running"
    assert outcome.said("# disabled") == []
    assert telemetry(outcome, "G1")[2:] == []
    assert outcome.said("# ?")
    assert outcome.said("lean_angle=") == []


def test_the_sensors_reset_line_is_pulled_at_the_start_and_on_command(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.bench.send(0.3, "sensors\n")
    outcome = scene.run(stork.built.elf, tmp_path, 0.4)
    driven = [change for change in outcome.changes["sensor_reset"] if change.level >= 0]
    lows = [(a.at, b.at - a.at) for a, b in itertools.pairwise(driven) if a.level == 0]
    assert [round(at, 1) for at, _ in lows] == [0.0, 0.3]
    assert all(0.020 <= lasted < 0.035 for _, lasted in lows), lows
