"""Which column of a recording means what.

A column's name may carry its unit: ``left_knee [mm]`` or ``left_knee (mm)``. These names are known:

====================  ========================================================================================
``time``, ``t``       seconds, or the unit in brackets (s, ms, us); ``time_s``, ``time_ms``, ``time_us``;
                      without any of these ``millis`` or ``micros``
``x`` (a signal)      raw: counts if the signal has a scale, else the signal's unit or one that converts to it
``x.value``           the signal's value, without gain, bias and zero
an event, a switch    0 or 1
``remote``            heard in the ticks in which a cell is not 0; without it where a cell of an event or a
                      switch that it carries is filled, and without those too in every tick
a parameter           a write wherever the cell is not empty
``helping.on``        0 or 1, held as a switch is: whether the machine is helped by hand, if it can be
``helping.stepping``  0 or 1, held: whether it walks in single steps
``helping.step``      1 for a single step
====================  ========================================================================================

Any other column is left unread and listed; those that begin with ``truth.`` (`sequencer.trace.truth`) are
left out in silence. A mapping gives columns of foreign recordings these names.
"""

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from sequencer.base.errors import MisuseError, TraceError
from sequencer.base.places import Place
from sequencer.base.quantities import UnitError, factor
from sequencer.plan.tables import Plan, Signal
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, HELPING_BITS
from sequencer.trace.truth import is_truth

Role = Literal["time", "signal", "event", "switch", "remote", "parameter", "helping"]

_US = {"s": 1e6, "ms": 1e3, "us": 1.0, "µs": 1.0, "μs": 1.0}
CLOCKS = {"millis": "ms", "micros": "us"}  # what builders call the counter of their controller
_TIME_NAME = re.compile(r"(?:time|t)(?:_(s|ms|us))?")
_SUFFIX = re.compile(r".*_(s|ms|us)")
_CELL = re.compile(r"(?P<name>.*?)\s*(?:\[(?P<square>[^\[\]]*)\]|\((?P<round>[^()]*)\))?")
_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]*)?(?:[eE][+-]?[0-9]+)?")
_SPELLED = (("°", "deg"), ("^2", "2"), ("²", "2"))


@dataclass(frozen=True, slots=True)
class TraceOptions:
    """How a recording is read.

    mapping: our name -> the column's name in the file, with or without its unit.
    switches_on: switches that are on until a cell says otherwise; those without a column stay on.
    remote_heard: the remote is heard in every tick, unless it has a column of its own.
    run: which run of a telemetry log is taken, from 1; None for the last.
    helped: the machine is helped by hand until a cell says otherwise.
    """

    mapping: Mapping[str, str] = field(default_factory=dict)
    switches_on: frozenset[str] = frozenset()
    remote_heard: bool = False
    run: int | None = None
    helped: bool = False


@dataclass(frozen=True, slots=True)
class HeaderCell:
    """One column's name as it stands in the file, with its place."""

    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class Column:
    """A column that is read.

    position: its number in the file, from 0. index: into the plan's table of its role; for helping the bit of
    TickBlock.control.
    form: FRESH_RAW or FRESH_VALUE for a signal, else 0. factor: turns the file's unit into the plan's;
    for time, into microseconds.
    """

    position: int
    name: str
    role: Role
    index: int = 0
    form: int = 0
    factor: float = 1.0


@dataclass(frozen=True, slots=True)
class Layout:
    """The columns of a file that are read: the time and the others in file order."""

    time: Column
    columns: tuple[Column, ...]
    width: int
    unused: tuple[str, ...]
    missing: tuple[str, ...]  # signals without a column

    def of_role(self, role: Role) -> list[tuple[int, Column]]:
        """List the columns of a role, each with its number in `columns`."""
        return [(i, c) for i, c in enumerate(self.columns) if c.role == role]


@dataclass(frozen=True, slots=True)
class Named:
    """A header cell taken apart; `unit` is None if there is none."""

    position: int
    text: str
    name: str
    unit: str | None
    place: Place


def read_layout(cells: Sequence[HeaderCell], plan: Plan, options: TraceOptions) -> Layout:
    """Find out what each column means.

    Raises TraceError for a column twice, no time column, or a unit that does not fit; MisuseError for a
    mapping or a switch that names nothing.
    """
    named = [take_apart(i, cell) for i, cell in enumerate(cells)]
    refuse_no_names(named)
    refuse_twice(named)
    _check_switches(plan, options)
    meanings = _meanings(plan)
    mapped = _mapped(named, meanings, options)
    time = find_time(named, meanings, mapped)
    columns: list[Column] = []
    for cell in named:
        ours = [our for our, its in mapped.items() if its is cell and our != "time"]
        if not ours and cell.name in meanings and cell.name not in mapped and cell.position != time.position:
            ours = [cell.name]
        columns += [_column(cell, our, meanings[our], plan) for our in ours]
    used = {c.position for c in columns} | {time.position}
    with_column = {c.index for c in columns if c.role == "signal"}
    return Layout(
        time=time,
        columns=tuple(columns),
        width=len(named),
        unused=tuple(
            c.text or f"column {c.position + 1}"
            for c in named
            if c.position not in used and not is_truth(c.name)
        ),
        missing=tuple(s.name for i, s in enumerate(plan.signals) if i not in with_column),
    )


def nearest(name: str, known: Iterable[str]) -> str:
    """Say which known name is meant, or nothing."""
    close = difflib.get_close_matches(name, list(known), n=1)
    return f"did you mean {close[0]}?" if close else ""


def take_apart(position: int, cell: HeaderCell) -> Named:
    """Take a header cell apart: the name, and the unit in brackets."""
    text = cell.text.strip()
    match = _CELL.fullmatch(text)
    if match is None:
        return Named(position, text, text, None, cell.place)
    unit = match["square"] if match["square"] is not None else match["round"]
    for theirs, ours in _SPELLED:
        unit = unit and unit.replace(theirs, ours)
    return Named(position, text, match["name"], unit.strip() if unit else None, cell.place)


def refuse_no_names(named: Sequence[Named]) -> None:
    """Raise TraceError if the first line is not one of names."""
    expected = "a first line of column names, one of them time, t, time_s, time_ms or time_us"
    if named and named[0].text.lower().startswith("sep="):
        raise TraceError(
            f"the first line is {named[0].text}, a remark for a spreadsheet program",
            named[0].place,
            expected=expected,
            hint="take this line out; the delimiter is found without it",
        )
    if named and all(_NUMBER.fullmatch(cell.text) for cell in named):
        raise TraceError(
            "the first line holds numbers, not the names of the columns",
            named[0].place,
            expected=expected,
            hint="write a line with the names above it",
        )


def refuse_twice(named: Sequence[Named]) -> None:
    """Raise TraceError if two columns are called the same."""
    seen: dict[str, Named] = {}
    for cell in named:
        if cell.name and cell.name in seen:
            raise TraceError(
                f"column {cell.name} stands here twice (first as column {seen[cell.name].position + 1})",
                cell.place,
                expected="each column once",
                hint="take one of them out or give it another name",
            )
        seen[cell.name] = cell


def _check_switches(plan: Plan, options: TraceOptions) -> None:
    known = [s.name for s in plan.switches]
    if options.remote_heard and plan.remote is None:
        raise MisuseError(f"{plan.machine} has no remote")
    if options.helped and not plan.helping:
        raise MisuseError(f"{plan.machine} cannot be helped by hand", hint="write helping: true in its file")
    for name in sorted(options.switches_on):
        if name not in known:
            raise MisuseError(f"there is no switch {name}", hint=nearest(name, known))


def _meanings(plan: Plan) -> dict[str, tuple[Role, int, int]]:
    """Map each known column name to its role, index and form."""
    known: dict[str, tuple[Role, int, int]] = {}
    if plan.remote is not None:
        known["remote"] = ("remote", 0, 0)
    if plan.helping:
        known |= {f"helping.{name}": ("helping", bit, 0) for name, bit in HELPING_BITS.items()}
    known |= {p.name: ("parameter", i, 0) for i, p in enumerate(plan.parameters)}
    known |= {s.name: ("switch", i, 0) for i, s in enumerate(plan.switches)}
    known |= {e.name: ("event", i, 0) for i, e in enumerate(plan.events)}
    for i, signal in enumerate(plan.signals):
        known[signal.name] = ("signal", i, FRESH_RAW)
        known[f"{signal.name}.value"] = ("signal", i, FRESH_VALUE)
    return known


def _mapped(
    named: Sequence[Named], meanings: Mapping[str, tuple[Role, int, int]], options: TraceOptions
) -> dict[str, Named]:
    found: dict[str, Named] = {}
    for ours, theirs in options.mapping.items():
        if ours not in meanings and ours != "time":
            raise MisuseError(
                f"the mapping names {ours}, which is no signal, event, switch or parameter",
                hint=nearest(ours, [*meanings, "time"]),
            )
        its = next((c for c in named if c.text == theirs), None)
        its = its or next((c for c in named if c.name == theirs), None)
        if its is None:
            raise TraceError(
                f"there is no column {theirs}, which should serve as {ours}",
                Place(named[0].place.file, named[0].place.line, 1),
                expected="one of " + ", ".join(c.text for c in named[:12]),
                hint=nearest(theirs, [c.name for c in named]),
            )
        found[ours] = its
    return found


def find_time(named: Sequence[Named], meanings: Iterable[str], mapped: Mapping[str, Named]) -> Column:
    """Take the mapped column, else the one called like a time; a name that is also the plan's comes last.

    meanings: names that the plan uses itself. Raises TraceError if there is none, or two, or of another unit.
    """
    likely = [c for c in named if _TIME_NAME.fullmatch(c.name) and c not in mapped.values()]
    likely = [c for c in likely if c.name not in meanings] or likely
    if not likely:
        likely = [c for c in named if c.name.lower() in CLOCKS and c.name not in meanings]
    if "time" in mapped:
        likely = [mapped["time"]]
    if not likely:
        raise TraceError(
            "there is no time column",
            named[0].place,
            expected="a first line of column names, one of them time, t, time_s, time_ms, time_us, millis "
            "or micros",
            hint=f"rename the column, or map it: time={_like_a_time(named) or 'THEIR_NAME'}; "
            "a telemetry log is known by its first lines, as the board sent them",
        )
    if len(likely) > 1:
        raise TraceError(
            f"{likely[0].text} and {likely[1].text} both look like the time column",
            likely[1].place,
            expected="one time column",
            hint=f"say which one: map time={likely[0].name}",
        )
    cell = likely[0]
    suffix = _SUFFIX.fullmatch(cell.name)
    unit = cell.unit or (suffix[1] if suffix else CLOCKS.get(cell.name.lower(), "s"))
    if unit not in _US or (cell.unit and suffix and _US[suffix[1]] != _US[unit]):
        raise TraceError(
            f"the time column is called {cell.text}",
            cell.place,
            expected="time in s, ms or us",
            hint="write the unit that its numbers really have, for example time [ms]",
        )
    return Column(cell.position, cell.text, "time", factor=_US[unit])


def _like_a_time(named: Sequence[Named]) -> str:
    likely = (c.name for c in named if "time" in c.name.lower() or _SUFFIX.fullmatch(c.name))
    return next(likely, "")


def _column(cell: Named, ours: str, meaning: tuple[Role, int, int], plan: Plan) -> Column:
    role, index, form = meaning
    scale = 1.0
    if role == "signal":
        scale = _signal_factor(cell, plan.signals[index], form)
    elif role == "parameter":
        parameter = plan.parameters[index]
        scale = _factor(cell, parameter.unit, f"parameter {parameter.name}")
    elif cell.unit is not None:
        raise TraceError(
            f"column {cell.text} holds 0 or 1 and has no unit",
            cell.place,
            expected=f"{cell.name} without a unit",
            hint="take the unit away, or map another column",
        )
    return Column(cell.position, cell.text, role, index, form, scale)


def _signal_factor(cell: Named, signal: Signal, form: int) -> float:
    if form == FRESH_VALUE or not signal.scaled:
        return _factor(cell, signal.unit, f"signal {signal.name}")
    if cell.unit in (None, "counts", "count"):
        return 1.0
    raise TraceError(
        f"column {cell.text} is raw, and signal {signal.name} has a scale: raw is counts, not {cell.unit}",
        cell.place,
        expected="counts",
        hint=f"if the numbers are in {cell.unit} already, call the column {signal.name}.value [{cell.unit}]",
    )


def _factor(cell: Named, unit: str, whose: str) -> float:
    if cell.unit is None:
        return 1.0
    try:
        return factor(cell.unit, unit)
    except UnitError as error:
        raise TraceError(
            f"column {cell.text} does not fit {whose}: {error}",
            cell.place,
            expected=f"{unit} or a unit that converts to it" if unit else "no unit",
            hint="write the unit that the numbers really have, or map another column",
        ) from error
