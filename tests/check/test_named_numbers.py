"""What the checks make of numbers that parameters give, and of the parameters of a machine."""

from pathlib import Path

from sequencer.base.findings import Finding
from sequencer.check.run import check
from sequencer.plan.build import load_plan, parse_plan

RIG = """
gait: nod
machine:
  machine: rig
  tick: 10 ms
  parameters:
    roll_zero: {{unit: deg, value: 1, span: [-3, 5]}}
    duty: {{value: 0.5, span: [0, 1]}}
  signals:
    roll: {{unit: deg, span: [-10, 10], zero: {zero}}}
  events: [go, halt]
  outputs: {{motor: {{cap: {cap}}}}}
phases:
  stand: {{rest: true, leave: [{{to: nod, when: {{event: go}}}}]}}
  nod:
    leave: [{{to: stand, when: {{signal: roll, above: {above}}}}}]
    timeout: {{after: 1 s, to: safe}}
  safe: {{stop: 1, leave: [{{to: stand, when: {{event: go}}}}]}}
anywhere: [{{to: safe, when: {{event: halt}}}}]
"""


def found(above: str, zero: str = "roll_zero", cap: str = "duty") -> list[Finding]:
    return check(parse_plan(RIG.format(above=above, zero=zero, cap=cap)))


def test_a_zero_that_is_trimmed_widens_what_can_be_read() -> None:
    """The span holds with the zero of the file, 1 deg; trimmed to -3 deg the signal reads 4 deg more."""
    (never,) = (f for f in found("13.9 deg") if f.code == "never-true")
    assert "with roll_zero at 1 deg" in never.message
    assert never.example.startswith("true with roll ")
    (never,) = (f for f in found("14 deg") if f.code == "never-true")
    assert "however the parameters are trimmed" in never.message
    (never,) = (f for f in found("13.9 deg", zero="1 deg") if f.code == "never-true")
    assert "trimmed" not in never.message and not never.example


def test_named_numbers_count_as_uses_of_their_parameters() -> None:
    assert [f.code for f in found("5 deg")] == []
    unused = [f for f in found("5 deg", zero="1 deg", cap="0.5") if f.code == "unused-parameter"]
    assert [f.message.split()[4].rstrip(":") for f in unused] == ["roll_zero", "duty"]


def test_what_a_walk_leaves_unused_of_its_machine_is_only_a_note(tmp_path: Path) -> None:
    text = RIG.format(above="5 deg", zero="1 deg", cap="0.5")
    head, machine, walk = text.partition("machine:\n  machine: rig")[0], *text.split("phases:", 1)
    (tmp_path / "rig.yaml").write_text(
        "\n".join(line[2:] for line in machine.splitlines() if line.startswith("  "))
    )
    (tmp_path / "nod.yaml").write_text(f"{head}machine: rig.yaml\nphases:{walk}")
    unused = [f for f in check(load_plan(tmp_path / "nod.yaml")) if f.code == "unused-parameter"]
    assert [(f.severity.name, f.fix) for f in unused] == [
        ("NOTE", "nothing to do if another gait of this machine does")
    ] * 2


SIDES = """
gait: still
machine:
  machine: rig
  tick: 10 ms
  parameters:
    left_gain: {{value: 1, span: [0, 2]}}
    right_gain: {{value: 1, span: [0, 2]}}
    gain: {{value: 1, span: [0, 2]}}
    duty: {{value: 0.5, span: [0, 1]}}
  signals:
    left_tilt: {{unit: deg, span: [-10, 10]}}
    right_tilt: {{unit: deg, span: [-10, 10]}}
  outputs: {{left_motor: {{cap: {cap}}}, right_motor: {{cap: duty}}}}
  loops:
    left_hip: {{setpoint: [0 deg], signal: left_tilt, kp: {kp}, output: left_motor}}
    right_hip: {{setpoint: [0 deg], signal: right_tilt, kp: right_gain, output: right_motor}}
phases: {{still: {{rest: true}}}}
"""


def uneven(kp: str, cap: str = "duty") -> list[str]:
    found = check(parse_plan(SIDES.format(kp=kp, cap=cap)))
    return [f.message.partition(": ")[2] for f in found if f.code.startswith("uneven")]


def test_left_and_right_may_have_gains_of_their_own_names() -> None:
    assert uneven("left_gain") == uneven("right_gain") == []
    assert uneven("gain") == ["kp gain and right_gain"]
    assert uneven("0.5") == ["kp 0.5 and right_gain"]
    assert uneven("left_gain", cap="0.5") == ["cap 0.5 and duty"]
