"""The small sound walk from which the registry's bad and good examples are made, all invented."""

WALK = """\
gait: crab_leg
machine:
  machine: beach_crab
  tick: 10 ms
  signals:
    knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}
    tilt: {unit: deg, span: [-45, 45], every: 20 ms, lost_after: 100 ms}
  events: [go, halt]
  setpoints:
    bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: knee}
phases:
  standing:
    rest: true
    set: {bend: 0 mm}
    leave:
      - {to: lift, when: {event: go}}
  lift:
    set: {bend: 40 mm}
    leave:
      - {to: lower, when: {at_target: bend, tolerance: 3 mm}, hold: 3 samples}
    timeout: {after: 3 s, to: safe}
  lower:
    set: {bend: 0 mm}
    leave:
      - {to: standing, when: {at_target: bend, tolerance: 4 mm}, hold: 3 samples}
    timeout: {after: 4 s, to: safe}
  safe:
    stop: 1
    set: {bend: 0 mm}
    leave:
      - {to: standing, when: {event: go}}
anywhere:
  - {to: safe, when: {any: [{event: halt}, {lost: tilt}, {signal: tilt, outside: [-25 deg, 25 deg]}]}}
"""

# Parts of it that examples change; each stands in it once.
GO = "      - {to: lift, when: {event: go}}\n"
LIFT_DONE = "      - {to: lower, when: {at_target: bend, tolerance: 3 mm}, hold: 3 samples}\n"
LIFT_TIMEOUT = "    timeout: {after: 3 s, to: safe}\n"
LOWER_DONE = "      - {to: standing, when: {at_target: bend, tolerance: 4 mm}, hold: 3 samples}\n"
LOWER_TIMEOUT = "    timeout: {after: 4 s, to: safe}\n"
SAFE = WALK[WALK.index("  safe:") : WALK.index("anywhere:")]
ANYWHERE = WALK[WALK.index("anywhere:") :]


def changed(*changes: tuple[str, str]) -> str:
    """Return the walk with some parts replaced. Raises ValueError if a part does not stand in it once."""
    text = WALK
    for old, new in changes:
        if text.count(old) != 1:
            raise ValueError(f"{old!r} stands in the walk {text.count(old)} times")
        text = text.replace(old, new)
    return text
