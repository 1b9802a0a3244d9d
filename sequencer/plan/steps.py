"""Which guards need no step while a machine walks in single steps."""

from sequencer.plan.tables import Guard, OnEvent, Plan


def needs_event(plan: Plan, guard: Guard) -> bool:
    """Tell whether a guard cannot be true in a tick without an event: then somebody has asked for it already.

    An event is needed by an `all` one of whose parts needs one, and by an `any` all of whose parts do.
    """
    stack: list[bool] = []
    for node in guard.nodes:
        if node.kind == "leaf":
            stack.append(isinstance(plan.leaves[node.arg], OnEvent))
            continue
        parts = stack[len(stack) - node.arg :]
        del stack[len(stack) - node.arg :]
        stack.append(node.kind != "not" and (any if node.kind == "all" else all)(parts))
    return stack[-1]
