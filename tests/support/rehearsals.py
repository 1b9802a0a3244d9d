"""Rehearsals of the shipped stork that several tests look at; each is made once."""

from pathlib import Path
from typing import Any

from sequencer.executors.compiled import CompiledExecutor
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import Executor
from sequencer.plan.tables import Plan
from sequencer.rehearse.plant import RehearsalOptions
from sequencer.rehearse.run import Rehearsal, rehearse
from support.bodies import body_of, changed


class Rehearser:
    """Makes rehearsals and keeps them."""

    def __init__(self, plan: Plan, body: str, folder: Path) -> None:
        self.plan = plan
        self.body = body
        self.folder = folder
        self._kept: dict[str, Rehearsal] = {}

    def __call__(
        self,
        seconds: float = 20,
        *changes: tuple[str, str],
        reference: bool = False,
        **options: Any,
    ) -> Rehearsal:
        """Rehearse so long, with changes of the body file and with options."""
        key = repr((seconds, changes, reference, options))
        if key not in self._kept:
            body = body_of(changed(self.body, *changes), self.folder, self.plan)
            executor: Executor = ReferenceExecutor(self.plan) if reference else CompiledExecutor(self.plan)
            ticks = round(seconds * 1000 / self.plan.tick_ms)
            self._kept[key] = rehearse(executor, body, ticks, RehearsalOptions(**options))
        return self._kept[key]
