"""Signals: what is done with their samples, grouped where several are treated alike."""

from collections.abc import Callable, Hashable, Sequence
from typing import TypeVar

from sequencer.base.binary32 import literal
from sequencer.generate.spelling import Spelling, product_is_needed, whole
from sequencer.generate.views import (
    BelieveView,
    LastView,
    LossView,
    ResolutionView,
    ScaleView,
    SignalView,
    SpanView,
)
from sequencer.plan.fixed_tables import Scale
from sequencer.plan.tables import Plan, Signal

Key = TypeVar("Key", bound=Hashable)


def signal_views(plan: Plan, spelling: Spelling) -> tuple[SignalView, ...]:
    """Spell the signals."""
    sizes = plan.fixed.signals if plan.fixed is not None else (None,) * len(plan.signals)
    return tuple(
        SignalView(name, signal.name, *unit_and_step(signal.unit, size))
        for name, signal, size in zip(spelling.signals, plan.signals, sizes, strict=True)
    )


def unit_and_step(unit: str, resolution: float | None) -> tuple[str, str]:
    """Say in what a number is counted, and how large a step is, if it is counted in steps."""
    if resolution is None:
        return unit, ""
    return f"in steps of {resolution:g} {unit}".rstrip(), literal(resolution)


def resolution_views(plan: Plan, spelling: Spelling) -> tuple[ResolutionView, ...]:
    """Group the signals by the size of their steps; the largest group comes last, to be the default."""
    groups: dict[float, list[str]] = {}
    sizes = () if plan.fixed is None else plan.fixed.signals
    for name, size in zip(spelling.signals, sizes, strict=False):
        groups.setdefault(size, []).append(name)
    ordered = sorted(groups.items(), key=lambda group: len(group[1]))
    return tuple(ResolutionView(tuple(names), literal(size)) for size, names in ordered)


def scale_views(plan: Plan, spelling: Spelling) -> tuple[ScaleView, ...]:
    """Group signals by gain, bias and zero; the largest group comes last, so that it can be the default."""
    if plan.fixed is not None:
        return _whole_scales(plan, plan.fixed.scales, spelling)
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


def _whole_scales(plan: Plan, scales: Sequence[Scale], spelling: Spelling) -> tuple[ScaleView, ...]:
    groups: dict[tuple[Scale, int | None], list[str]] = {}
    for name, signal, scale in zip(spelling.signals, plan.signals, scales, strict=True):
        groups.setdefault((scale, signal.zero_from), []).append(name)
    return tuple(
        ScaleView(
            tuple(names),
            gain="" if scale.multiplier == 1 and scale.shift == 0 else str(scale.multiplier),
            bias=str(scale.addend),
            zero="" if zero is None else spelling.parameters[zero],
            shift=str(scale.shift) if scale.shift else "",
        )
        for (scale, zero), names in sorted(groups.items(), key=lambda group: len(group[1]))
    )


def believe_views(plan: Plan, spelling: Spelling) -> tuple[BelieveView, ...]:
    """Group the signals whose samples are not always believed."""
    groups = _grouped(plan, spelling, lambda s: s.believe)
    return tuple(
        BelieveView(names, believe.kind, spelling.number(believe.low), spelling.number(believe.high))
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
    return tuple(
        SpanView(names, spelling.number(low), spelling.number(high)) for (low, high), names in groups.items()
    )


def _grouped(plan: Plan, spelling: Spelling, key: Callable[[Signal], Key]) -> dict[Key, tuple[str, ...]]:
    groups: dict[Key, tuple[str, ...]] = {}
    for name, signal in zip(spelling.signals, plan.signals, strict=True):
        groups[key(signal)] = (*groups.get(key(signal), ()), name)
    return groups
