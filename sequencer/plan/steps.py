"""Which guards cannot be true without somebody who asks for it; those need no step in single steps."""

from sequencer.plan.tables import Guard, Leaf, OnEvent, OnSwitch, Plan


def needs_event(plan: Plan, guard: Guard) -> bool:
    """Tell whether a guard cannot be true in a tick without an event: somebody has asked for it then."""
    return _needs(plan, guard, (OnEvent,))


def needs_operator(plan: Plan, guard: Guard) -> bool:
    """Tell whether a guard cannot be true without an event or a switch that is on."""
    return _needs(plan, guard, (OnEvent, OnSwitch))


def _needs(plan: Plan, guard: Guard, kinds: tuple[type[Leaf], ...]) -> bool:
    """Tell whether a guard needs a leaf of some kinds, be it one of several.

    An `all` needs one if one of its parts does, an `any` if all of them do, a `not` never.
    """
    stack: list[bool] = []
    for node in guard.nodes:
        if node.kind == "leaf":
            stack.append(isinstance(plan.leaves[node.arg], kinds))
            continue
        parts = stack[len(stack) - node.arg :]
        del stack[len(stack) - node.arg :]
        stack.append(node.kind != "not" and (any if node.kind == "all" else all)(parts))
    return stack[-1]
