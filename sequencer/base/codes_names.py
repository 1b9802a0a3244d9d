"""Codes of findings about names that nothing uses."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_walk import WALK, changed
from sequencer.base.findings import Severity

_PARAMETER = "parameters:\n  lift_height: {unit: mm, value: 40, span: [20, 50]}\nphases:\n"
_BEND = "    bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: knee}\n"
_STANDING = "    set: {bend: 0 mm}\n    leave:\n      - {to: lift"
_CLAW = "    claw: {unit: mm, span: [0, 20], rate: 20 mm/s, start: 0 mm}\n"

CODES = (
    CodeInfo(
        "unused-parameter",
        "a parameter that nothing uses",
        Severity.WARNING,
        "The parameter stands in no target, threshold, tolerance or rate.",
        "Someone trims it at the bench and wonders why nothing changes.",
        changed(("phases:\n", _PARAMETER)),
        changed(("phases:\n", _PARAMETER), ("{bend: 40 mm}", "{bend: lift_height}")),
    ),
    CodeInfo(
        "unused-counter",
        "a counter that nothing uses",
        Severity.WARNING,
        "No phase counts or resets the counter and no guard looks at it.",
        "A limit on the number of steps that was meant is not there.",
        changed(("phases:\n", "counters: [lifts]\nphases:\n")),
        changed(("phases:\n", "counters: [lifts]\nphases:\n"), ("  lift:\n", "  lift:\n    count: lifts\n")),
    ),
    CodeInfo(
        "unused-input",
        "a signal, event, switch or remote that nothing uses",
        Severity.NOTE,
        "No guard and no rule of this gait looks at it, and it follows no setpoint that is commanded. Machine "
        "files are shared by several gaits, so this is only a note.",
        "A sensor that was built in watches nothing; a button does nothing.",
        changed(("[go, halt]", "[go, halt, wave]")),
        WALK,
    ),
    CodeInfo(
        "unused-setpoint",
        "a setpoint that no phase commands",
        Severity.NOTE,
        "No phase sets or keeps it and no guard asks whether it is reached, so it stays at its start. Machine "
        "files are shared by several gaits, so this is only a note.",
        "A joint holds still during the whole walk.",
        changed((_BEND, _BEND + _CLAW)),
        changed(
            (_BEND, _BEND + _CLAW), (_STANDING, _STANDING.replace("bend: 0 mm", "bend: 0 mm, claw: 0 mm"))
        ),
    ),
)
