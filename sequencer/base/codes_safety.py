"""Codes of findings about safety: what stops, losses and loops may do, and what rules demand of targets."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_walk import ANYWHERE, SAFE, WALK, changed
from sequencer.base.findings import Severity

_EVENTS = "  events: [go, halt]\n"
_REMOTE = _EVENTS + "  remote: {carries: [go], every: 100 ms, lost_after: 500 ms}\n"
_LOST_REMOTE = ANYWHERE.replace("{event: halt}", "{event: halt}, {lost: remote}")
_SETPOINTS = "    bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: knee}\n"
_LEAN = (
    _SETPOINTS + "    lean: {unit: deg, span: [-20, 20], rate: 10 deg/s, start: 12 deg, followed_by: tilt}\n"
)
_RULE = """\
rules:
  - name: leans away from the lifted foot
    while: {signal: knee, above: 8 mm}
    must: {signal: tilt, above: 8 deg}
"""
_STANDING = "    set: {bend: 0 mm}\n    leave:\n      - {to: lift, when: {event: go}}\n"
_LIFTING = "    set: {bend: 40 mm}\n"
_TRIMMED = "parameters:\n  over: {unit: deg, value: 12, span: [%s, 15]}\nphases:\n"
_LOOPS = (
    _SETPOINTS
    + """\
  loops:
    balance: {setpoint: [0 deg], signal: tilt, kp: 0.2, limit: %s mm, adds_to: {leg: 1}}
    leg: {setpoint: [bend], signal: knee, kp: 0.05, output: motor}
  outputs:
    motor: {holds_unpowered: true}
"""
)
_INTEGRAL = (
    _SETPOINTS
    + """\
  loops:
    leg: {setpoint: [bend], signal: knee, kp: 0.05, ki: 0.1, output: motor}
  outputs:
    motor: {holds_unpowered: true}
"""
)

CODES = (
    CodeInfo(
        "stop-left-alone",
        "a stop ends without the operator",
        Severity.WARNING,
        "A way out of a stop phase, into one that is none, needs neither an event nor a switch, or it is a timeout.",
        "Something stopped the machine; it begins to move again by itself while somebody has a hand in it.",
        changed((SAFE, SAFE.replace("{event: go}", "{signal: tilt, within: [-5 deg, 5 deg]}"))),
        WALK,
    ),
    CodeInfo(
        "remote-unnoticed",
        "nobody notices that the remote fell silent",
        Severity.WARNING,
        "The machine has a remote, and no entry under `anywhere` asks for `lost: remote`. An event cannot arrive over "
        "a silent remote; a switch on it is unknown, so `not: {switch: ...}` is not true either.",
        "The operator presses halt on a remote with an empty battery, and the machine walks on.",
        changed((_EVENTS, _REMOTE)),
        changed((_EVENTS, _REMOTE), (ANYWHERE, _LOST_REMOTE)),
    ),
    CodeInfo(
        "loss-unnoticed",
        "only the timeout would notice that a signal is lost",
        Severity.NOTE,
        "A phase waits for the signal, and neither `anywhere` nor a guard of the phase asks whether it is lost. While "
        "it is lost the guard is unknown and the machine waits.",
        "A wire comes off while a foot is up, and the machine stands on one leg until the timeout.",
        WALK,
        changed((ANYWHERE, ANYWHERE.replace("{lost: tilt}", "{lost: tilt}, {lost: knee}"))),
    ),
    CodeInfo(
        "correction-over-tolerance",
        "a loop may hold a joint off further than a guard allows",
        Severity.WARNING,
        "A loop adds to the reference of the loop that moves a joint, up to its limit, and acts in this phase; the guard "
        "wants the joint nearer to its setpoint than that.",
        "The balance is right, the joint stands where balance wants it, and the walk waits until the timeout.",
        changed((_SETPOINTS, _LOOPS % "5")),
        changed((_SETPOINTS, _LOOPS % "3")),
    ),
    CodeInfo(
        "integral-at-rest",
        "an integral goes on at rest",
        Severity.NOTE,
        "A loop with an integral acts in a rest phase as well. Feet that stand on the ground hold each other: what the "
        "loop wants to move cannot move, and the integral adds up to its limit.",
        "At the first step the leg that comes free jerks by what the integral had saved up.",
        changed((_SETPOINTS, _INTEGRAL)),
        changed((_SETPOINTS, _INTEGRAL), ("phases:\n", "loops: {leg: {acts_in: [lift, lower]}}\nphases:\n")),
    ),
    CodeInfo(
        "stop-moves-weight",
        "a stop phase moves the weight while a foot may be up",
        Severity.WARNING,
        "A rule says where a joint must be while another is up. The stop phase commands the first to where the rule does "
        "not allow it, and can be entered with the second still up.",
        "The machine stops by falling over.",
        changed(
            (_SETPOINTS, _LEAN),
            (SAFE, SAFE.replace("set: {bend: 0 mm}", "set: {bend: 0 mm, lean: 0 deg}")),
            (ANYWHERE, ANYWHERE + _RULE),
            (_STANDING, _STANDING.replace("{bend: 0 mm}", "{bend: 0 mm, lean: 12 deg}")),
        ),
        changed(
            (_SETPOINTS, _LEAN),
            (ANYWHERE, ANYWHERE + _RULE),
            (_STANDING, _STANDING.replace("{bend: 0 mm}", "{bend: 0 mm, lean: 12 deg}")),
        ),
    ),
    CodeInfo(
        "span-breaks-rule",
        "a target, or what it may be trimmed to, breaks a rule",
        Severity.WARNING,
        "While the phase holds one joint where the rule's `while` is true, the other joint is sent, or may be sent by a "
        "parameter at an end of its span, to where the rule's `must` is false.",
        "A number is trimmed at the bench, the machine walks, and one day it lifts the foot that it stands on.",
        changed(
            ("phases:\n", _TRIMMED % 5),
            (_SETPOINTS, _LEAN),
            (ANYWHERE, ANYWHERE + _RULE),
            (_LIFTING, "    set: {bend: 40 mm, lean: over}\n"),
        ),
        changed(
            ("phases:\n", _TRIMMED % 10),
            (_SETPOINTS, _LEAN),
            (ANYWHERE, ANYWHERE + _RULE),
            (_LIFTING, "    set: {bend: 40 mm, lean: over}\n"),
        ),
    ),
)
