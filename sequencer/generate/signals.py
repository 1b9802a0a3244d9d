"""Signals: what is done with their samples, grouped where several are treated alike."""

from collections.abc import Callable, Hashable
from typing import TypeVar

from sequencer.base.binary32 import literal
from sequencer.generate.spelling import Spelling, product_is_needed, whole
from sequencer.generate.views import BelieveView, LastView, LossView, ScaleView, SignalView, SpanView
from sequencer.plan.tables import Plan, Signal

Key = TypeVar("Key", bound=Hashable)


def signal_views(plan: Plan, spelling: Spelling) -> tuple[SignalView, ...]:
    """Spell the signals."""
    return tuple(
        SignalView(name, signal.name, signal.unit)
        for name, signal in zip(spelling.signals, plan.signals, strict=True)
    )


def scale_views(plan: Plan, spelling: Spelling) -> tuple[ScaleView, ...]:
    """Group signals by gain, bias and zero; the largest group comes last, so that it can be the default."""
    groups = _grouped(plan, spelling, lambda s: (s.gain, s.bias, s.zero_from))
    ordered = sorted(groups.items(), key=lambda group: len(group[1]))  # stable: no other order is disturbed
    return tuple(
        ScaleView(
            names,
            literal(gain) if product_is_needed(gain) else "",
            literal(bias),
            "" if zero is None else spelling.parameters[zero],
        )
        for (gain, bias, zero), names in ordered
    )


def believe_views(plan: Plan, spelling: Spelling) -> tuple[BelieveView, ...]:
    """Group the signals whose samples are not always believed."""
    groups = _grouped(plan, spelling, lambda s: s.believe)
    return tuple(
        BelieveView(names, believe.kind, literal(believe.low), literal(believe.high))
        for believe, names in groups.items()
        if believe is not None
    )


def loss_views(plan: Plan, spelling: Spelling) -> tuple[LossView, ...]:
    """Group the signals that can be lost by how long they may be silent."""
    groups = _grouped(plan, spelling, lambda s: s.lost_after_ms)
    return tuple(LossView(names, whole(ms)) for ms, names in groups.items() if ms is not None)


def last_view(plan: Plan, spelling: Spelling) -> LastView | None:
    """Say for which signals the time of the last fresh sample is kept: those that can be lost."""
    needing = [i for i, signal in enumerate(plan.signals) if signal.lost_after_ms is not None]
    if not needing:
        return None
    first, last = needing[0], needing[-1]
    bounds = [f"i >= {spelling.signals[first]}"] if first > 0 else []
    bounds += [f"i <= {spelling.signals[last]}"] if last < len(plan.signals) - 1 else []
    silences = {plan.signals[i].lost_after_ms for i in range(first, last + 1)}
    (alone,) = silences if len(silences) == 1 else (None,)
    return LastView(
        size=last - first + 1,
        needed=bounds[0] if len(bounds) == 1 else " && ".join(f"({bound})" for bound in bounds),
        index=f"i - {first}U" if first else "i",
        alone="" if alone is None else whole(alone),
    )


def span_views(plan: Plan, spelling: Spelling) -> tuple[SpanView, ...]:
    """Group the signals by span."""
    groups = _grouped(plan, spelling, lambda s: (s.low, s.high))
    return tuple(SpanView(names, literal(low), literal(high)) for (low, high), names in groups.items())


def _grouped(plan: Plan, spelling: Spelling, key: Callable[[Signal], Key]) -> dict[Key, tuple[str, ...]]:
    groups: dict[Key, tuple[str, ...]] = {}
    for name, signal in zip(spelling.signals, plan.signals, strict=True):
        groups[key(signal)] = (*groups.get(key(signal), ()), name)
    return groups
