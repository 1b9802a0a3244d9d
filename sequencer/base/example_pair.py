"""Two legs that take turns, from which the examples about sequences side by side are made, all invented."""

_MACHINE = """\
machine:
  machine: beach_crab
  tick: 10 ms
  signals:
    <leg>_height: {for_each: {leg: [front, hind]}, unit: mm, span: [0, 80], every: 20 ms, lost_after: 200 ms}
    tilt: {unit: deg, span: [-45, 45], every: 20 ms, lost_after: 100 ms}
  events: [go, halt]
  switches: [walk]
  setpoints:
    <leg>_lift:
      for_each: {leg: [front, hind]}
      unit: mm
      span: [0, 60]
      rate: 80 mm/s
      start: 0 mm
      followed_by: <leg>_height
"""

_LEG = """\
  LEG:
    phases:
      ready:
        rest: true
        set: {LEG_lift: 0 mm}
        leave:
          - to: swing
            when: {all: [{switch: walk}, {signal: LEG_height, below: 10 mm}, {sequence: OTHER, in: [FIRST]}]}
      swing:
        set: {LEG_lift: 45 mm}
        leave:
          - {to: landing, when: {reached: LEG_lift, short_by: 4 mm}, hold: 3 samples}
        timeout: {after: 3 s, to: safe}
      landing:
        set: {LEG_lift: 0 mm}
        leave:
          - {to: done, when: {reached: LEG_lift, short_by: 4 mm}, hold: 3 samples}
        timeout: {after: 3 s, to: safe}
      done:
        rest: true
        set: {LEG_lift: 0 mm}
        leave:
          - {to: AGAIN, when: {sequence: OTHER, in: [THEN]}}
EXTRA      safe:
        stop: 1
        set: {LEG_lift: 0 mm}
        leave:
          - {to: ready, when: {event: go}}
"""


def _leg(leg: str, other: str, first: str, then: str, *, again: str = "ready", extra: str = "") -> str:
    words = {"LEG": leg, "OTHER": other, "FIRST": first, "THEN": then, "AGAIN": again, "EXTRA": extra}
    text = _LEG
    for word, name in words.items():
        text = text.replace(word, name)
    return text


_BOW = """\
          - {to: bow, when: {all: [{event: go}, {sequence: front, in: [done]}]}}
      bow:
        rest: true
        set: {hind_lift: 20 mm}
        leave:
          - {to: ready, when: {event: go}}
"""

RULE = """\
rules:
  - name: one foot in the air
    while: {sequence: front, in: [swing, landing]}
    must: {not: {sequence: hind, in: [swing, landing]}}
"""

ANYWHERE = """\
anywhere:
  - {to: safe, when: {any: [{event: halt}, {lost: tilt}, {signal: tilt, outside: [-25 deg, 25 deg]}]}}
  - {to: safe, when: {any: [{lost: front_height}, {lost: hind_height}]}}
"""

PAIR = (
    "gait: two_legs\n"
    + _MACHINE
    + "sequences:\n"
    + _leg("front", "hind", "ready", "done")
    + _leg("hind", "front", "done", "ready", extra=_BOW)
    + ANYWHERE
    + RULE
)

# Parts of it that examples change; each stands in it once.
FRONT_READY = "{signal: front_height, below: 10 mm}, {sequence: hind, in: [ready]}"
HIND_READY = "{signal: hind_height, below: 10 mm}, {sequence: front, in: [done]}"
FRONT_DONE = "{to: ready, when: {sequence: hind, in: [done]}}"
HIND_DONE = "{to: bow, when: {all: [{event: go}, {sequence: front, in: [done]}]}}"


def changed_pair(*changes: tuple[str, str]) -> str:
    """Return the two legs with some parts replaced. Raises ValueError if a part does not stand in it once."""
    text = PAIR
    for old, new in changes:
        if text.count(old) != 1:
            raise ValueError(f"{old!r} stands in the walk {text.count(old)} times")
        text = text.replace(old, new)
    return text


# Once up, hind comes home only while front is down, but front comes down only while hind is up, and by the
# tilt not in the same tick.
RING = (
    "gait: two_feet\n"
    + _MACHINE
    + """\
sequences:
  front:
    phases:
      down:
        rest: true
        set: {front_lift: 0 mm}
        leave:
          - {to: safe, when: {any: [{event: halt}, {lost: tilt}, {lost: front_height}, {lost: hind_height}]}}
          - {to: up, when: {switch: walk}}
      up:
        set: {front_lift: 45 mm}
        leave:
          - {to: safe, when: {any: [{event: halt}, {lost: tilt}, {lost: front_height}, {lost: hind_height}]}}
          - to: down
            when: {all: [{sequence: hind, in: [up]}, {signal: tilt, above: 4 deg}]}
            hold: 3 samples
        timeout: never
        because: it waits for the other foot
      safe:
        stop: 1
        set: {front_lift: 0 mm}
        leave:
          - {to: up, when: {event: go}}
  hind:
    phases:
      home:
        rest: true
        set: {hind_lift: 0 mm}
        leave:
          - {to: up, when: {sequence: front, in: [up]}}
      up:
        set: {hind_lift: 45 mm}
        leave:
          - to: down
            when: {all: [{sequence: front, in: [up]}, {signal: tilt, below: -4 deg}]}
            hold: 3 samples
        timeout: never
        because: it waits for the other foot
      down:
        set: {hind_lift: 0 mm}
        leave:
          - {to: home, when: {sequence: front, in: [down]}}
          - to: up
            when: {all: [{sequence: front, in: [up]}, {signal: tilt, above: 0 deg}]}
            hold: 3 samples
        timeout: never
        because: it waits for the other foot
"""
)
RING_MENDED = RING.replace(
    "{to: home, when: {sequence: front, in: [down]}}", "{to: home, when: {sequence: front, in: [down, safe]}}"
)
