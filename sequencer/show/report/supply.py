"""The battery over a run: the signal that the outputs are supplied by, else one that is called so."""

import numpy as np

from sequencer.history.blocks import SEEN, HistoryBlock
from sequencer.history.run import Ints
from sequencer.plan.tables import Plan
from sequencer.show.report.document import Battery
from sequencer.show.text import clean


class SupplyWatch:
    """Watches the supply; blocks need their detail."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._signal = _supply(plan)
        self._first: float | None = None
        self._last = 0.0
        self._least = (float("inf"), 0)

    def add(self, history: HistoryBlock, at_ms: Ints) -> None:
        """Take the next ticks."""
        if self._signal is None or history.detail is None:
            return
        seen = np.flatnonzero(history.detail.signal_state[:, self._signal] & SEEN)
        if not len(seen):
            return
        values = history.detail.signal[seen, self._signal]
        self._first = float(values[0]) if self._first is None else self._first
        self._last = float(values[-1])
        row = int(np.argmin(values))
        self._least = min(self._least, (float(values[row]), int(at_ms[seen[row]])))

    def battery(self, first_column: int) -> Battery | None:
        """Tell how it went; None if there is no supply, or it was never seen."""
        if self._signal is None or self._first is None:
            return None
        signal = self._plan.signals[self._signal]
        supplies = [o.supply for o in self._plan.outputs if o.supply and o.supply.signal == self._signal]
        full = [supply.full_scale_at for supply in supplies]
        low = [supply.least for supply in supplies if supply.least is not None]
        return Battery(
            column=first_column + self._signal,
            name=clean(signal.name),
            unit=signal.unit,
            first=self._first,
            last=self._last,
            least=self._least[0],
            least_at=self._least[1],
            full=max(full, default=None),
            low=max(low, default=None),
        )


def _supply(plan: Plan) -> int | None:
    supplied = [output.supply.signal for output in plan.outputs if output.supply is not None]
    named = [
        i
        for i, signal in enumerate(plan.signals)
        if signal.unit == "V" and {"battery", "supply"} & set(signal.name.lower().split("_"))
    ]
    return next(iter([*supplied, *named]), None)
