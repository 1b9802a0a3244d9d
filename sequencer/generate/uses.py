"""Which helper functions and members the text needs; the others are left out."""

from sequencer.generate.guards import GuardWriter
from sequencer.generate.setpoints import Aims, steps_are_positive
from sequencer.generate.spelling import product_is_needed
from sequencer.generate.views import SequenceView, SetpointView
from sequencer.plan.tables import Compare, Follow, Lost, Plan


def uses_of(
    plan: Plan,
    guards: GuardWriter,
    aims: Aims,
    setpoints: tuple[SetpointView, ...],
    sequences: tuple[SequenceView, ...],
) -> dict[str, bool]:
    """Tell which helper functions and members the text needs; the others are left out."""
    comparing = ("at_least", "above", "at_most", "below", "within", "outside")
    names = ("known", "smaller", "larger", "held", "counted", "enough", "is_set", "is_in", *comparing)
    uses = {name: name in guards.uses for name in names}
    uses["known"] = uses["known"] or any(
        isinstance(leaf, Follow) or (isinstance(leaf, Compare) and leaf.source == "signal")
        for leaf in plan.leaves
    )
    compared = {leaf.op for leaf in plan.leaves if isinstance(leaf, Compare)}
    uses |= {f"watch_{op}": op in compared for op in comparing}
    uses["count_of"] = any(isinstance(leaf, Compare) and leaf.source == "counter" for leaf in plan.leaves)
    uses["compares"] = any(uses[name] for name in comparing)
    uses["follow"] = any(isinstance(leaf, Follow) for leaf in plan.leaves)
    uses["apart"] = uses["held"] or uses["counted"] or uses["follow"] or any(s.arrivals for s in sequences)
    uses["reached"] = any(isinstance(leaf, Follow) and leaf.op == "reached" for leaf in plan.leaves)
    uses["retarget"] = bool(aims.levels)
    uses["clamped"] = any(setpoint.clamped for setpoint in setpoints)
    uses["forwards"] = steps_are_positive(plan)
    stops = {p.stop for s in plan.sequences for p in s.phases}
    uses["product"] = plan.fixed is None and (
        any(product_is_needed(s.gain) for s in plan.signals)
        or any(s.rate is not None and s.rate.parameter is not None for s in plan.setpoints)
    )
    uses |= _of_samples(plan)
    uses["stops"] = stops != {None}
    uses["arrived"] = 1 in stops and bool(plan.setpoints)
    uses["ends"] = uses["arrived"] and not stops <= {None, 1}
    uses["cuts"] = 0 in stops or (1 in stops and not plan.setpoints)
    uses["ramps"] = any(s.rate is not None for s in plan.setpoints)
    uses["anywhere_holds"] = any(plan.guards[a.guard].hold is not None for a in plan.anywhere)
    uses["rule_to"] = any(r.to is not None for r in plan.rules)
    uses["everyone"] = bool(plan.anywhere) or uses["rule_to"]
    uses["can_be_lost"] = (
        any(s.lost_after_ms is not None for s in plan.signals)
        or (plan.remote is not None and plan.remote.lost_after_ms is not None)
        or any(isinstance(leaf, Lost) for leaf in plan.leaves)
    )
    uses["comparison"] = any(isinstance(leaf, Compare | Follow) for leaf in plan.leaves)
    uses["question"] = any(not isinstance(leaf, Compare | Follow) for leaf in plan.leaves)
    uses["rules_read_inputs"] = any(guards.reads_inputs(r.guard, events=False) for r in plan.rules)
    return uses


def _of_samples(plan: Plan) -> dict[str, bool]:
    """Tell what is done with samples besides scaling them."""
    kinds = {signal.believe.kind for signal in plan.signals if signal.believe is not None}
    zeros = any(signal.zero_from is not None for signal in plan.signals)
    scales = () if plan.fixed is None else plan.fixed.scales
    return {
        "believe_counts": "counts" in kinds,
        "believe_reads": "reads" in kinds,
        "zeros": zeros,
        "without_minus": any(not product_is_needed(s.gain) and s.bias == 0 for s in plan.signals),
        "saturated": any(scale.addend or scale.shift for scale in scales) or (bool(scales) and zeros),
    }
