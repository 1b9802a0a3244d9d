"""Codes of findings about left and right."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.findings import Severity

_WALK = """\
gait: stork_nod
machine:
  machine: parade_stork
  tick: 10 ms
  signals:
    left_knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}
    right_knee: {unit: mm, span: [0, %s], every: 10 ms, lost_after: 100 ms}
  events: [go, halt]
  setpoints:
    left_bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: left_knee}
    right_bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: right_knee}
phases:
  standing:
    rest: true
    set: {left_bend: 0 mm, right_bend: 0 mm}
    leave:
      - {to: lift_left, when: {event: go}}
  lift_left:
    set: {left_bend: 40 mm, right_bend: 0 mm}
    leave:
      - {to: lift_right, when: {at_target: left_bend, tolerance: 3 mm}, hold: 3 samples}
    timeout: {after: 3 s, to: safe}
  lift_right:
    set: {left_bend: 0 mm, right_bend: 40 mm}
    leave:
      - {to: lift_left, when: {at_target: right_bend, tolerance: 3 mm}, hold: %s}
    timeout: {after: 3 s, to: safe}
  safe:
    stop: 1
    set: {left_bend: 0 mm, right_bend: 0 mm}
    leave:
      - {to: standing, when: {event: go}}
anywhere:
  - {to: safe, when: {any: [{event: halt}, {lost: left_knee}, {lost: right_knee}]}}
"""

CODES = (
    CodeInfo(
        "uneven-walk",
        "left and right are written differently",
        Severity.WARNING,
        "Two phases whose names differ in a word of a side (left and right, l and r, lf and rf, lm and rm, lh and rh) "
        "have other timeouts, holds, guards or another order of guards, beyond what a mirror image has.",
        "The machine limps, and the cause is a number that was trimmed on one side only.",
        _WALK % ("60", "1 samples"),
        _WALK % ("60", "3 samples"),
    ),
    CodeInfo(
        "uneven-machine",
        "left and right are declared differently",
        Severity.WARNING,
        "Two signals, setpoints, loops or outputs whose names differ in a word of a side have other spans, rates, "
        "sample periods, noise, gains or limits. Zeros and scales are each side's own and may differ.",
        "One side is slower or is believed further than the other; the walk looks like a limp that no number explains.",
        _WALK % ("50", "3 samples"),
        _WALK % ("60", "3 samples"),
    ),
)
