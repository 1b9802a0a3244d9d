"""Small gaits as text for tests of the loader, all invented: what they build, and what is wrong with them."""

import re

from sequencer.base.errors import FileErrors
from sequencer.base.findings import Finding
from sequencer.plan.build import parse_plan
from sequencer.plan.tables import Guard, Leaf, Phase, Plan

SECTIONS = {
    "signals": """
    left_tilt: {unit: deg, span: [-45, 45], every: 20 ms, lost_after: 100 ms}
    right_tilt: {unit: deg, span: [-45, 45], every: 20 ms, lost_after: 100 ms}
    body: {unit: deg, span: [-60, 60], every: 20 ms}
    knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}
""",
    "inputs": """
  events: [go, halt]
  switches: [motors]
  remote: {carries: [halt, motors], every: 50 ms, lost_after: 500 ms}
""",
    "setpoints": """
    lean:
      unit: deg
      span: [-20, 20]
      rate: 16 deg/s
      start: 0 deg
      followed_by: {left_tilt: 2 deg, right_tilt: -2 deg}
    bend: {unit: mm, span: [0, 55], start: 0 mm, followed_by: knee}
""",
    "outputs": """
    horn: {pulse: true}
""",
    "parameters": """
  angle: {unit: deg, value: 15, span: [8, 20]}
  lift: {unit: mm, value: 40, span: [0, 55]}
  limit: {unit: deg, value: 9, span: [5, 12]}
""",
    "counters": "[steps]",
    "phases": """
  still: {rest: true, leave: [{to: work, when: {event: go}}]}
  work: {leave: [{to: still, when: {event: halt}}]}
  safe: {stop: 1}
""",
    "more": "",
}


def gait(**sections: str) -> str:
    """Write a gait with an inline machine; any of SECTIONS may be given anew."""
    part = {key: text.strip("\n") for key, text in {**SECTIONS, **sections}.items()}
    return (
        f"gait: trial\nmachine:\n  tick: 10 ms\n  signals:\n{part['signals']}\n"
        f"{part['inputs']}\n  setpoints:\n{part['setpoints']}\n"
        f"  outputs:\n{part['outputs']}\nparameters:\n{part['parameters']}\n"
        f"counters: {part['counters']}\nphases:\n{part['phases']}\n{part['more']}\n"
    )


def plan_of(**sections: str) -> Plan:
    """Build the plan of such a gait."""
    return parse_plan(gait(**sections))


def errors_in(text: str) -> list[Finding]:
    """Give the errors of a gait's text; none if it builds."""
    try:
        parse_plan(text)
    except FileErrors as error:
        return list(error.findings)
    return []


def told(text: str) -> list[str]:
    """Give the errors as ``line:column code``."""
    return [f"{f.place.line}:{f.place.column} {f.code}" for f in errors_in(text)]


def codes(**sections: str) -> list[str]:
    """Give the codes of the errors of a gait."""
    return [finding.code for finding in errors_in(gait(**sections))]


def spot(text: str, what: str, nth: int = 1) -> str:
    """Give ``line:column`` of the nth occurrence of a piece of text; it must stand there."""
    found = [match.start() for match in re.finditer(re.escape(what), text)]
    before = text[: found[nth - 1]]
    return f"{before.count(chr(10)) + 1}:{len(before) - before.rfind(chr(10))}"


def leaving(when: str, hold: str = "", phase: str = "") -> str:
    """Write phases in which `work` is left by one guard."""
    held = f", hold: {hold}" if hold else ""
    return (
        "  still: {rest: true, leave: [{to: work, when: {event: go}}]}\n"
        f"  work:\n    leave:\n      - {{to: still, when: {when}{held}}}\n{phase}  safe: {{stop: 1}}\n"
    )


def phase_of(plan: Plan, name: str) -> Phase:
    """Find a phase by its name."""
    return next(p for s in plan.sequences for p in s.phases if p.name == name)


def guard_of(plan: Plan, phase: str = "work") -> Guard:
    """Give the first guard of a phase."""
    return plan.guards[phase_of(plan, phase).exits[0].guard]


def leaf_of(when: str, **sections: str) -> Leaf:
    """Build a guard of one leaf and give it."""
    plan = plan_of(phases=leaving(when), **sections)
    (index,) = guard_of(plan).leaves
    return plan.leaves[index]
