"""Codes of findings about motors: what drops when the power goes, and supplies that nothing watches."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_walk import ANYWHERE, SAFE, changed
from sequencer.base.findings import Severity

_BATTERY = "    battery: {unit: V, span: [9, 12.6], every: 100 ms, lost_after: 500 ms}\n"
_SETPOINTS = "    bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: knee}\n"
_MOTOR = (
    _SETPOINTS
    + """\
  loops:
    leg: {setpoint: [bend], signal: knee, kp: 0.05, output: motor}
  outputs:
    motor: {%s}
"""
)
_SUPPLIED = "supply: battery, full_scale_at: 12 V, least_supply: 9.6 V, holds_unpowered: true"
_LOW = "  - {to: safe, when: {signal: battery, below: 10 V}, hold: 500 ms}\n"
_AT_ONCE = SAFE.replace("stop: 1", "stop: 0")

CODES = (
    CodeInfo(
        "limb-drops",
        "a stop takes the power from what sinks without it",
        Severity.WARNING,
        "A stop phase of category 0 or 1 cuts an output that has `holds_unpowered: false`. Category 0 cuts it at once; "
        "category 1 at the end of the movement, and the phase commands none of what the output follows.",
        "A leg on a spur gear sinks at the moment of the stop, with the foot, or a finger, under it.",
        changed((_SETPOINTS, _MOTOR % "holds_unpowered: false"), (SAFE, _AT_ONCE)),
        changed((_SETPOINTS, _MOTOR % "holds_unpowered: false")),
    ),
    CodeInfo(
        "unpowered-unsaid",
        "nothing says whether an output holds without power",
        Severity.NOTE,
        "A stop phase of category 0 or 1 cuts an output that is driven by a loop, and the machine file has no "
        "`holds_unpowered` for it. A lead screw or a worm usually holds (common practice), a spur gear may not: try it.",
        "Whether a stop is safe is found out at the first stop.",
        changed((_SETPOINTS, _MOTOR % "slew: 8 /s")),
        changed((_SETPOINTS, _MOTOR % "slew: 8 /s, holds_unpowered: true")),
    ),
    CodeInfo(
        "supply-unnoticed",
        "outputs are cut at low supply, and the walk does not notice before",
        Severity.WARNING,
        "An output has a `least_supply`, and neither an entry under `anywhere` at a threshold above it nor the guards of "
        "every walking phase look at that signal. A cut does not move the walk: it happens in whatever phase is active.",
        "The battery sags, all motors go off with one foot in the air, and the machine falls over.",
        changed(("  signals:\n", "  signals:\n" + _BATTERY), (_SETPOINTS, _MOTOR % _SUPPLIED)),
        changed(
            ("  signals:\n", "  signals:\n" + _BATTERY),
            (_SETPOINTS, _MOTOR % _SUPPLIED),
            (ANYWHERE, ANYWHERE + _LOW),
        ),
    ),
)
