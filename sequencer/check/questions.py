"""Asking about conditions: boxes first, the solver where they do not do."""

from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from sequencer.check.domains import (
    NO,
    YES,
    Box,
    Interval,
    TooManyBoxesError,
    meet_unions,
    nice_number,
    subtract_unions,
    whole,
)
from sequencer.check.facts import Condition, Facts
from sequencer.check.solver import MOST_STEPS, Prover, Undecided, Values
from sequencer.check.travel import Travels
from sequencer.check.truth import Truths, losses_asked
from sequencer.plan.tables import Plan


@dataclass(frozen=True, slots=True)
class Answer:
    """Whether such a situation exists; `reason` says why it was left undecided.

    box or found: what was found, by boxes or by the solver.
    """

    verdict: Literal["yes", "no", "undecided"]
    box: Box = field(default_factory=dict)
    found: Values = field(default_factory=dict)
    reason: str = ""

    @property
    def values(self) -> Values:
        """Values that show the situation; picked only when asked for, as most answers are not shown."""
        return self.found or _pick(self.box)


NO_SUCH = Answer("no")


class Asker:
    """Answers questions about one plan.

    trimmed: parameters may take any value of their spans; else they are as they stand. most_steps: the bound
    of one solver query. boxes: whether to try without the solver first.
    """

    def __init__(
        self, plan: Plan, *, trimmed: bool = False, most_steps: int = MOST_STEPS, boxes: bool = True
    ) -> None:
        self.facts = Facts(plan, trimmed)
        self.truths = Truths(self.facts)
        self.boxes = boxes
        self._most_steps = most_steps
        self.solver_queries = 0
        self._prover: Prover | None = None
        self._possible: dict[Condition, Answer] = {}
        self._always: dict[Condition, bool] = {}

    def find(
        self, *must: Condition, but_not: tuple[Condition, ...] = (), nothing_lost: bool = False
    ) -> Answer:
        """Find a situation in which all of `must` are true and none of `but_not` is.

        nothing_lost: only look at situations in which every signal and the remote are heard, but for those
        whose loss a condition asks about, and of these few.
        """
        if self.boxes:
            try:
                found = self._by_boxes(must, but_not, nothing_lost)
            except TooManyBoxesError:
                found = None
            if found is not None:
                return found
        if self._prover is None:
            self._prover = Prover(self.facts, self._most_steps)
        self.solver_queries += 1
        values = self._prover.find(must, but_not, nothing_lost=nothing_lost)
        if values is None:
            return NO_SUCH
        if isinstance(values, Undecided):
            return Answer("undecided", reason=values.reason)
        return Answer("yes", found=values)

    def possible(self, condition: Condition) -> Answer:
        """Find a situation in which a condition is true. Asked by several checks, so kept."""
        if condition not in self._possible:
            self._possible[condition] = self.find(condition)
        return self._possible[condition]

    def always(self, condition: Condition) -> bool:
        """Tell whether a condition is true whatever is measured, as long as everything is heard."""
        if condition not in self._always:
            answer = self.find(but_not=(condition,), nothing_lost=True)
            self._always[condition] = answer.verdict == "no"
        return self._always[condition]

    def _by_boxes(
        self, must: tuple[Condition, ...], but_not: tuple[Condition, ...], nothing_lost: bool
    ) -> Answer | None:
        """Answer by boxes, or return None if they can't tell."""
        rest: list[Box] = [{}]
        for condition in must:
            rest = meet_unions(rest, self.truths.sides(condition)[0])
        exact = not (self.facts.trimmed and self.facts.parameters_of((*must, *but_not)))
        holes = [self.truths.sides(condition)[0] for condition in but_not] if exact else []
        if nothing_lost:
            asked = losses_asked(self.facts.plan, (*must, *but_not))
            named = (var for union in (rest, *holes) for box in union for var in box)
            lost = {var for var in named if var[0] in ("lost", "remote")}
            heard: Box = dict.fromkeys(lost - asked, NO)
            rest = meet_unions(rest, [heard])
        for hole in holes:
            rest = subtract_unions(rest, hole, self.truths.full)
            if not rest:
                break
        if not rest:
            return NO_SUCH
        box = min(rest, key=_losses) if nothing_lost else rest[0]
        return Answer("yes", box=box) if exact else None


class Askers:
    """The two ways to ask: with the parameters at their `present` values, or with them `trimmed`."""

    def __init__(self, plan: Plan) -> None:
        self.present = Asker(plan)
        self.trimmed = Asker(plan, trimmed=True)

    @cached_property
    def usual_travels(self) -> Travels:
        """The routes of a walk in which nothing goes wrong, parameters as they stand."""
        return Travels(self.present.facts, by_guards_only=True)

    @cached_property
    def worst_travels(self) -> Travels:
        """Every route there is, parameters anywhere in their spans."""
        return Travels(self.trimmed.facts)


def _losses(box: Box) -> int:
    """Count what must be lost: a value out of the way is sooner played than a silence."""
    return sum(domain == YES for var, domain in box.items() if var[0] in ("lost", "remote"))


def _pick(box: Box) -> Values:
    """Pick one situation out of a box."""
    values: Values = {}
    for var, domain in box.items():
        if isinstance(domain, Interval) and var[0] == "counter":
            values[var] = max(0.0, whole(domain).low)  # the first count at which it happens
        elif isinstance(domain, Interval):
            values[var] = nice_number(domain)
        elif var[0] in ("phase", "aim"):
            values[var] = (domain & -domain).bit_length() - 1
        else:
            values[var] = domain == 2 if domain != 3 else False
    return values
