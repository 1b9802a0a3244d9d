"""Codes of findings about what phases leave behind."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_walk import LIFT_DONE, WALK, changed
from sequencer.base.findings import Severity

_BEND = "bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: knee}\n"
_TWIST = "    twist: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 5 mm, followed_by: knee}\n"
_STANDING = "    set: {bend: 0 mm}\n    leave:\n      - {to: lift, when: {event: go}}\n"
_LOWER = "    set: {bend: 0 mm}\n    leave:\n      - {to: standing, when: {at_target"
_LOWER_TO = "      - {to: standing, when: {at_target: bend, tolerance: 4 mm}, hold: 3 samples}\n"

CODES = (
    CodeInfo(
        "route-dependent",
        "a target depends on the route",
        Severity.WARNING,
        "The phase does not command a setpoint, and two ways into it leave different targets behind. Ways into and out "
        "of stop phases do not count.",
        "The walk comes out differently in the second round, and nobody sees why.",
        changed(
            (_STANDING, "    leave:\n      - {to: lift, when: {event: go}}\n"),
            (_LOWER, _LOWER.replace("bend: 0 mm", "bend: 10 mm")),
        ),
        changed(
            (_STANDING, "    keep: bend\n    leave:\n      - {to: lift, when: {event: go}}\n"),
            (_LOWER, _LOWER.replace("bend: 0 mm", "bend: 10 mm")),
        ),
    ),
    CodeInfo(
        "follows-two",
        "a signal follows two setpoints",
        Severity.WARNING,
        "Two setpoints that phases command name the same signal under `followed_by`.",
        "A guard that waits for the one is kept waiting by the other.",
        changed((_BEND, _BEND + _TWIST), (_STANDING, _STANDING.replace("0 mm", "0 mm, twist: 5 mm"))),
        changed(
            (_BEND, _BEND + _TWIST.replace(", followed_by: knee", "")),
            (_STANDING, _STANDING.replace("0 mm", "0 mm, twist: 5 mm")),
        ),
    ),
    CodeInfo(
        "jump",
        "a setpoint jumps",
        Severity.WARNING,
        "A setpoint that signals follow has no `rate`, and phases send it to different places.",
        "The drive gets the whole error at once: a blow to gears, and a machine that sways.",
        changed((_BEND, _BEND.replace("rate: 60 mm/s, ", ""))),
        WALK,
    ),
    CodeInfo(
        "not-awaited",
        "a command whose end nobody awaits",
        Severity.NOTE,
        "The phase sends a setpoint somewhere else, and none of the guards that lead on asks about it or about a signal "
        "that follows it.",
        "The next phase begins while the joint is still on its way.",
        changed(
            (
                LIFT_DONE,
                "      - {to: lower, when: {signal: tilt, within: [-5 deg, 5 deg]}, hold: 3 samples}\n",
            )
        ),
        WALK,
    ),
)
