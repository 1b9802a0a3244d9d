"""Signals: what is done with their samples, grouped where several are treated alike."""

from collections.abc import Callable, Hashable
from typing import TypeVar

from sequencer.base.binary32 import literal
from sequencer.generate.spelling import Spelling, product_is_needed, whole
from sequencer.generate.views import BelieveView, LossView, ScaleView, SignalView, SpanView
from sequencer.plan.tables import Plan, Signal

Key = TypeVar("Key", bound=Hashable)


def signal_views(plan: Plan, spelling: Spelling) -> tuple[SignalView, ...]:
    """Spell the signals."""
    return tuple(
        SignalView(name, signal.name, signal.unit)
        for name, signal in zip(spelling.signals, plan.signals, strict=True)
    )


def scale_views(plan: Plan, spelling: Spelling) -> tuple[ScaleView, ...]:
    """Group signals by gain and bias; the largest group comes last, so that it can be the default."""
    groups = _grouped(plan, spelling, lambda s: (s.gain, s.bias))
    ordered = sorted(groups.items(), key=lambda group: len(group[1]))  # stable: no other order is disturbed
    return tuple(
        ScaleView(names, literal(gain) if product_is_needed(gain) else "", literal(bias))
        for (gain, bias), names in ordered
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


def span_views(plan: Plan, spelling: Spelling) -> tuple[SpanView, ...]:
    """Group the signals by span."""
    groups = _grouped(plan, spelling, lambda s: (s.low, s.high))
    return tuple(SpanView(names, literal(low), literal(high)) for (low, high), names in groups.items())


def _grouped(plan: Plan, spelling: Spelling, key: Callable[[Signal], Key]) -> dict[Key, tuple[str, ...]]:
    groups: dict[Key, tuple[str, ...]] = {}
    for name, signal in zip(spelling.signals, plan.signals, strict=True):
        groups[key(signal)] = (*groups.get(key(signal), ()), name)
    return groups
