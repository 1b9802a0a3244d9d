"""A first walk on two legs: lean over one foot, lift the other, set it down, lean over that one."""

from sequencer.gait.starter_files import Starter, set_lines, watched_text


def sway_text(s: Starter) -> str:
    """Write the gait file."""
    lean, lift = s.joints[0], s.lift
    feet_down = [(f"{leg}_{lift}", "0 deg") for leg in s.legs]
    standing = [(lean, "0 deg"), *feet_down, *((f"{leg}_{j}", "0 deg") for j in s.still for leg in s.legs)]
    return (
        _HEAD.format(name=s.name, lean=lean, lift=lift)
        + _WALK.format(
            standing=set_lines(standing),
            feet_down=set_lines(feet_down, _LOWERING),
            lean=lean,
            lift=lift,
            keep=", ".join(_kept(s)),
        )
        + watched_text(s)
        + _rules(s)
        + _mirror(s)
    )


_LOWERING = "feet down first; the lean stays, or one foot would have to carry it"

_HEAD = """\
# The walk of {name}; what it can measure and command is in {name}.machine.yaml.
# Every number is a guess to start from. Next: sequencer check {name}.gait.yaml
# For completion in an editor: sequencer schema gait > gait.schema.json, then remove one #:
# # yaml-language-server: $schema=gait.schema.json
gait: {name}_walk
about: Stepping on the spot from side to side
machine: {name}.machine.yaml

parameters:   # may be trimmed at the bench, within their span
  lean_angle: {{unit: deg, value: 12, span: [8, 18]}}   # how far to lean before a foot is lifted
  lift_angle: {{unit: deg, value: 30, span: [10, 50]}}  # how far to lift it
counters: [steps]

defaults:
  timeout: {{after: 5 s, to: safe}}   # a fault: the walk itself never waits for time
"""

_WALK = """
phases:
  standing:
    rest: true
{standing}    leave:
      - {{to: lean_right, when: {{all: [{{event: go}}, {{switch: motors}}]}}}}
  lean_right:
    set: {{{lean}: lean_angle}}
    leave:
      - to: lift_left
        when: {{reached: {lean}, short_by: 2 deg}}   # within 2 deg of it, or past it
        hold: 3 samples                          # fresh ones: a dead sensor can't satisfy it
  lift_left:
    count: [steps]
    set: {{left_{lift}: lift_angle}}
    leave:
      - {{to: lower_left, when: {{at_target: left_{lift}, tolerance: 3 deg}}, hold: 2 samples}}
  lower_left:
    set: {{left_{lift}: 0 deg}}
    leave:
      - {{to: centre_1, when: {{at_target: left_{lift}, tolerance: 3 deg}}, hold: 2 samples}}
  centre_1:
    set: {{{lean}: 0 deg}}
    leave:
      - {{to: lean_left, when: {{at_target: {lean}, tolerance: 2 deg}}, hold: 3 samples}}
  # lean_left, lift_right, lower_right and centre_2 come from mirror, below
  safe:
    stop: 1              # stop category 1 of IEC 60204-1: come to a stop, then drives off
{feet_down}    keep: [{keep}]
    leave:
      - {{to: standing, when: {{all: [{{event: go}}, {{switch: motors}}]}}}}
"""


def _kept(s: Starter) -> list[str]:
    return [s.joints[0], *(f"{leg}_{joint}" for joint in s.still for leg in s.legs)]


def _rules(s: Starter) -> str:
    leaning = "left_leg_roll" if s.tilts else f"{s.joints[0]}_at"
    up = f"{{signal: left_{s.lift}_at, above: 6 deg}}"
    text = (
        "\nrules:   # must hold at every tick; the mirror adds the other side\n"
        "  - name: weight on the standing leg\n"
        f"    while: {up}\n"
        f"    must: {{signal: {leaning}, above: 4 deg}}\n"
    )
    if "load" in s.sensors:
        text += (
            "  - name: no load on a lifted foot\n"
            f"    while: {up}\n"
            "    must: {signal: left_load, below: 30 N}\n"
        )
    return text


def _mirror(s: Starter) -> str:
    negated = [
        s.joints[0],
        *((*(f"{leg}_leg_roll" for leg in s.legs), "body_roll") if s.tilts else (f"{s.joints[0]}_at",)),
    ]
    return (
        "\nmirror:   # the other half of the walk\n"
        "  swap: {left: right}\n"
        f"  negate: [{', '.join(negated)}]\n"
        "  phases:\n    lean_right: lean_left\n    lift_left: lift_right\n"
        "    lower_left: lower_right\n    centre_1: centre_2\n"
    )
