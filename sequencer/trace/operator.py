"""What an operator would do, found from the plan: which event starts the walk, which switches are on."""

from collections.abc import Sequence

from sequencer.base.errors import MisuseError
from sequencer.plan.tables import Guard, OnEvent, OnSwitch, Plan
from sequencer.trace.blocks import HEARD, HELPING
from sequencer.trace.layout import nearest

FIRST_PRESS_MS = 1000


def default_presses(plan: Plan) -> list[tuple[int, int]]:
    """Say what is sent when, as (milliseconds, event): at 1 s, what leads out of each first phase."""
    wanted: list[int] = []
    for sequence in plan.sequences:
        asked = [e for way in sequence.phases[0].exits for e in asked_for(plan, plan.guards[way.guard])[0]]
        if asked and asked[0] not in wanted:
            wanted.append(asked[0])
    return [(FIRST_PRESS_MS, event) for event in wanted]


def default_switches(plan: Plan) -> int:
    """Give the switches that are on as bits: all but those that take the machine to a stop from anywhere."""
    stopping = {
        switch
        for way in plan.anywhere
        if any(s.phases[to].stop is not None for s, to in zip(plan.sequences, way.to, strict=True))
        for switch in asked_for(plan, plan.guards[way.guard])[1]
    }
    return sum(1 << i for i in range(len(plan.switches)) if i not in stopping)


def asked_for(plan: Plan, guard: Guard) -> tuple[list[int], list[int]]:
    """List the events and the switches that help a guard to be true, in the order in which they stand."""
    stack: list[tuple[list[int], list[int]]] = []  # leaves that help it to be true, and to be false
    for node in guard.nodes:
        if node.kind == "leaf":
            stack.append(([node.arg], []))
        elif node.kind == "not":
            helping, hindering = stack.pop()
            stack.append((hindering, helping))
        else:
            parts = stack[-node.arg :]
            del stack[-node.arg :]
            stack.append(([i for p in parts for i in p[0]], [i for p in parts for i in p[1]]))
    leaves = [plan.leaves[i] for i in stack[-1][0]]
    return [x.event for x in leaves if isinstance(x, OnEvent)], [
        x.switch for x in leaves if isinstance(x, OnSwitch)
    ]


class Operator:
    """Presses, switches and the remote of a made run. Times are microseconds from its first tick on.

    presses: when which event arrives, ms; None takes what starts the walk. switches_off: None leaves off
    those that `anywhere` takes for a stop. remote_dies_ms: nothing comes over the remote from then on.
    Raises MisuseError for a name that the machine does not have.
    """

    def __init__(
        self,
        plan: Plan,
        presses: Sequence[tuple[int, str]] | None = None,
        switches_off: frozenset[str] | None = None,
        *,
        helped: bool = False,
        remote_dies_ms: int | None = None,
    ) -> None:
        self._presses = _presses(plan, presses)
        self._next_press = 0
        self.switches = _switches(plan, switches_off)
        self._helped = HELPING * helped
        self._every_us = plan.remote.every_us if plan.remote else None
        self._dies_us = None if remote_dies_ms is None else remote_dies_ms * 1000
        self._next_us = 0
        self._carried = sum(1 << e for e in plan.remote.events) if plan.remote else 0

    def at(self, elapsed_us: int) -> tuple[int, int]:
        """Give the events and the control bits of a tick; ticks are asked for in order."""
        bits = 0
        while self._next_press < len(self._presses):
            at_us, event = self._presses[self._next_press]
            if elapsed_us < at_us:
                break
            bits |= 1 << event
            self._next_press += 1
        dead = self._dies_us is not None and elapsed_us >= self._dies_us
        events = bits & ~self._carried if dead else bits
        return events, (0 if dead else self._heard(elapsed_us, events)) | self._helped

    def _heard(self, elapsed_us: int, events: int) -> int:
        """Say whether the remote is heard: at its period, and when it sends an event."""
        if self._every_us is None:
            return HEARD
        if elapsed_us < self._next_us:
            return HEARD if events else 0
        while self._next_us <= elapsed_us:
            self._next_us += self._every_us
        return HEARD


def _presses(plan: Plan, presses: Sequence[tuple[int, str]] | None) -> list[tuple[int, int]]:
    """List what the operator sends as (microseconds, event), earliest first."""
    if presses is None:
        return [(at * 1000, event) for at, event in default_presses(plan)]
    known = [e.name for e in plan.events]
    for _, name in presses:
        if name not in known:
            raise MisuseError(f"there is no event {name}", hint=nearest(name, known))
    return sorted((at * 1000, known.index(name)) for at, name in presses)


def _switches(plan: Plan, switches_off: frozenset[str] | None) -> int:
    if switches_off is None:
        return default_switches(plan)
    known = [s.name for s in plan.switches]
    for name in sorted(switches_off):
        if name not in known:
            raise MisuseError(f"there is no switch {name}", hint=nearest(name, known))
    return sum(1 << i for i, name in enumerate(known) if name not in switches_off)
