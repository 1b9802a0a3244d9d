"""Which parts of a guard made it true in one tick: ``motors was off``."""

from sequencer.history.blocks import FALSE, TRUE, UNKNOWN, Detail
from sequencer.plan.tables import Plan
from sequencer.plan.words import fact_words, hold_words

_Literals = list[tuple[int, bool]]  # a leaf, and whether it was true


def is_choice(plan: Plan, guard: int) -> bool:
    """Tell whether a guard can be true in more than one way: an `any`, or an `all` under `not`."""
    negated = [False]
    for node in reversed(plan.guards[guard].nodes):
        turned = negated.pop()
        if node.arg > 1 and node.kind == ("all" if turned else "any"):
            return True
        if node.kind != "leaf":
            negated += [turned != (node.kind == "not")] * node.arg
    return False


def found_words(plan: Plan, guard: int, detail: Detail, tick: int) -> str:
    """Say what made a guard true in a tick; empty if it was not true there (or not looked at)."""
    if not 0 <= tick < len(detail.truth):
        return ""
    found = _facts(plan, guard, detail.truth[tick].tolist())
    texts = [fact_words(plan, leaf, true=true) for leaf, true in dict.fromkeys(found)]
    hold = hold_words(plan.guards[guard].hold)
    return " and ".join(texts) + (f", {hold}" if hold and texts else "")


def _facts(plan: Plan, guard: int, truths: list[int]) -> _Literals:
    """List the leaves that made a guard true, each with its own truth; none if it was not true."""
    stack: list[tuple[int, _Literals]] = []
    for node in plan.guards[guard].nodes:
        if node.kind == "leaf":
            truth = truths[node.arg]
            known = truth in (FALSE, TRUE)
            stack.append((truth if known else UNKNOWN, [(node.arg, truth == TRUE)] if known else []))
            continue
        parts = stack[len(stack) - node.arg :]
        del stack[len(stack) - node.arg :]
        if node.kind == "not":
            stack.append((TRUE + FALSE - parts[0][0], parts[0][1]))
            continue
        truth = (min if node.kind == "all" else max)(part for part, _ in parts)
        stack.append((truth, [fact for part, facts in parts if part == truth for fact in facts]))
    truth, facts = stack[-1]
    return facts if truth == TRUE else []
