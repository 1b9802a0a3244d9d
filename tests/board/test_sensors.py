"""Sensors that go wrong on an emulated board, and what the machine does about it."""

from pathlib import Path
from random import Random

import pytest
from support.board.bench import Outcome, number_of, telemetry
from support.board.programs import Program
from support.board.stork import PINS, TILTS, Scene, moves, verdict

FIRST = len("T1 now stage phases flags events switches overruns".split())  # of the signals in a T1 line


def tilts_taken(outcome: Outcome) -> set[str]:
    """The tilts that the program took for samples, as text with four decimals."""
    found = set()
    for fields in telemetry(outcome):
        found |= {f"{number_of(item):.4f}" for item in fields[FIRST : FIRST + len(TILTS)] if item}
    return found


def phases(program: Program, outcome: Outcome) -> list[str]:
    return [phase for _, phase, _ in moves(program, outcome)]


def sent_by(scene: Scene) -> set[str]:
    """What the scene's sensors will say, once it has been played."""
    sent: set[str] = set()
    line = scene.line

    def remember(at: float, text: str) -> str | None:
        sent.update(text.split(","))
        return line(at, text)

    scene.line = remember
    return sent


def test_garbage_between_lines_is_thrown_away_and_the_walk_goes_on(stork: Program, tmp_path: Path) -> None:
    rng = Random("garbage")
    scene = Scene(stork.plan)

    def dirty(at: float, text: str) -> str:
        junk = "".join(chr(rng.choice([0, 7, 13, 33, 44, 46, 57, 127, 200, 255])) for _ in range(20))
        return f"{junk}\n{text}" if int(at * 50) % 3 == 0 else text

    scene.line = dirty
    sent = sent_by(scene)
    outcome = scene.run(stork.built.elf, tmp_path, 2.4)
    assert phases(stork, outcome)[:3] == ["standing", "lean_right", "lift_left"]
    assert tilts_taken(outcome) <= sent
    assert not verdict(stork, outcome).differs


DAMAGE = {
    "cut at the end": lambda text: text[: len(text) // 2],
    "cut at the beginning": lambda text: text[len(text) // 2 :],
    "too few numbers": lambda text: text.rpartition(",")[0],
    "too many numbers": lambda text: text + ",1.0",
    "not numbers": lambda text: text.replace(".", ":"),
    "far too long": lambda text: text + "0" * 200,
    "noise": lambda text: "".join(chr(128 + ord(c)) for c in text),
    "an empty number": lambda text: text.replace(",", ",,", 1),
}


@pytest.mark.parametrize("kind", DAMAGE)
def test_damaged_lines_are_no_samples_and_silence_leads_to_the_safe_phase(
    kind: str, stork: Program, tmp_path: Path
) -> None:
    """From 0.9 s on every line is damaged: the tilts are lost 100 ms later, and that leads to safe."""
    scene = Scene(stork.plan)
    scene.line = lambda at, text: DAMAGE[kind](text) if at > 0.9 else text
    sent = sent_by(scene)
    outcome = scene.run(stork.built.elf, tmp_path, 1.25)
    entered = moves(stork, outcome)
    assert [phase for _, phase, _ in entered] == ["standing", "lean_right", "safe"]
    assert entered[-1][2] == "anywhere"
    assert tilts_taken(outcome) <= sent
    assert not verdict(stork, outcome).differs


def test_a_pause_within_a_line_makes_two_halves_of_it(stork: Program, tmp_path: Path) -> None:
    """Put together, both halves of a torn line may look like numbers: here 0.2 and 7 would be 0.27."""
    scene = Scene(stork.plan)
    scene.line = lambda at, text: None if at > 0.9 else text
    for k in range(3):
        scene.bench.send(0.91 + 0.1 * k, "1.5,-2.5,0.2", port=1)
        scene.bench.send(0.97 + 0.1 * k, "7\n", port=1)
    outcome = scene.run(stork.built.elf, tmp_path, 1.25)
    assert phases(stork, outcome)[-1] == "safe"
    assert "0.2700" not in tilts_taken(outcome)


def test_half_a_line_at_power_on_is_not_used(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.line = lambda at, text: text if at > 0.1 else None
    scene.bench.send(0.03, "2.0,3.0,4.0\n1.0,1.0,1.0\n", port=1)
    outcome = scene.run(stork.built.elf, tmp_path, 0.2)
    assert "2.0000" not in tilts_taken(outcome), "the first one may be the rest of a line"
    assert "1.0000" in tilts_taken(outcome)


def test_a_knee_that_sticks_ends_in_a_fault(stork: Program, tmp_path: Path) -> None:
    """The left knee says the same from 1.9 s on, amid lifting: the timeout of 3 s leads to safe."""
    scene = Scene(stork.plan)
    scene.sensors["left_knee"] = lambda at, value: value if at < 1.9 else 10.0
    outcome = scene.run(stork.built.elf, tmp_path, 5.2)
    entered = moves(stork, outcome)
    assert [(phase, cause) for _, phase, cause in entered[2:]] == [
        ("lift_left", "guard"),
        ("safe", "timeout"),
    ]
    assert entered[3][0] - entered[2][0] == pytest.approx(3.0)
    assert not verdict(stork, outcome).differs


def test_a_broken_wire_reads_as_an_end_of_the_scale_and_is_not_believed(
    stork: Program, tmp_path: Path
) -> None:
    """A knee's potentiometer without its ground: 1022 counts all the time. It is lost."""
    scene = Scene(stork.plan)
    scene.sensors["left_knee"] = lambda at, value: value if at < 1.9 else 1000.0
    outcome = scene.run(stork.built.elf, tmp_path, 2.6)
    assert phases(stork, outcome) == ["standing", "lean_right", "lift_left"]
    assert outcome.most("left_knee", 2.3, 2.6) == 0, "the inner loop of a lost signal gives nothing"
    assert not verdict(stork, outcome).differs


def test_a_sensor_that_comes_back_starts_nothing_by_itself(stork: Program, tmp_path: Path) -> None:
    """The lean's ramp ends at about 1.75 s; then the controlled stop is over, and the drives go off."""
    scene = Scene(stork.plan)
    scene.line = lambda at, text: None if 0.9 < at < 1.2 else text
    outcome = scene.run(stork.built.elf, tmp_path, 2.1)
    assert phases(stork, outcome) == ["standing", "lean_right", "safe"], "in safe until somebody says go"
    assert outcome.level("enable", 1.6) == 255
    assert [outcome.most(name, 1.85, 2.1) for name in PINS if name != "sensor_reset"] == [0] * (len(PINS) - 1)
    assert not verdict(stork, outcome).differs


def test_what_is_fresh_matters_not_what_was(stork: Program, tmp_path: Path) -> None:
    """Planted: with the first damaged line taken for a sample after all, the check above fails."""
    scene = Scene(stork.plan)
    sent = sent_by(scene)
    scene.line = lambda at, text: "9.8765,9.8765,9.8765" if 0.90 < at < 0.93 else text
    outcome = scene.run(stork.built.elf, tmp_path, 1.0)
    assert not tilts_taken(outcome) <= sent
