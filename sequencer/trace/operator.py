"""What an operator would do, found from the plan: which event starts the walk, which switches are on."""

from sequencer.plan.tables import Guard, OnEvent, OnSwitch, Plan

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
