"""Which column of a log means what, if the log tells its phases itself and no gait file is at hand.

======================  ======================================================================================
``time``, ``t``         as in recordings: seconds, or the unit in brackets or behind ``_``; capitals are as
                        good, and so are ``millis`` and ``micros``
``phase``               the phase in which the machine is: a name or a whole number; an empty cell: as before
``X.phase``             the same for sequence X, of as many sequences as there are such columns
``cause``, ``X.cause``  why the phase changed, in the row of the change
======================  ======================================================================================

Any other column is a number, if it holds numbers, in the unit in brackets or at the end of its name.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sequencer.base.errors import TraceError
from sequencer.base.places import Place
from sequencer.trace.layout import (
    CLOCKS,
    Column,
    HeaderCell,
    Named,
    find_time,
    nearest,
    refuse_no_names,
    refuse_twice,
    take_apart,
)

ONLY_SEQUENCE = "walk"  # the name of the sequence of a log with one column `phase`

_CLOCKS = {name: {"ms": 1e3, "us": 1.0}[unit] for name, unit in CLOCKS.items()}
_UNITS = {
    unit.replace("/", "_"): unit
    for unit in "m/s2 m/s deg/s rad/s mm/s deg rad mm cm N Nm V mV A mA ms us Hz rpm kg g counts".split()
} | {"percent": "%", "pct": "%"}
_LIKE_PHASE = ("state", "step", "stage", "mode", "status", "zustand", "etat")


@dataclass(frozen=True, slots=True)
class LogColumn:
    """A column that may hold numbers: where it stands in the file, its name and unit."""

    position: int
    name: str
    unit: str


@dataclass(frozen=True, slots=True)
class LoggedSequence:
    """A sequence: its name, its column of phases, and its column of causes if there is one."""

    name: str
    phase: int
    cause: int | None
    place: Place
    column: str


@dataclass(frozen=True, slots=True)
class PhaseHeader:
    """All columns of a log."""

    time: Column
    sequences: tuple[LoggedSequence, ...]
    columns: tuple[LogColumn, ...]
    width: int


def read_header(cells: Sequence[HeaderCell], mapping: Mapping[str, str]) -> PhaseHeader:
    """Find out what each column means. mapping: our name -> the column's name in the file.

    Raises TraceError if there is no column of phases, no time, or a column twice.
    """
    named = [take_apart(i, cell) for i, cell in enumerate(cells)]
    refuse_no_names(named)
    refuse_twice(named)
    renamed = _renamed(named, mapping)
    sequences = _sequences(named, renamed)
    time = _time(named, renamed)
    taken = {time.position, *(s.phase for s in sequences), *(s.cause for s in sequences)}
    columns = tuple(
        LogColumn(cell.position, renamed[cell.position] or f"column {cell.position + 1}", _unit(cell))
        for cell in named
        if cell.position not in taken
    )
    return PhaseHeader(time, sequences, columns, len(named))


def _renamed(named: Sequence[Named], mapping: Mapping[str, str]) -> list[str]:
    """Give each column's name, or the one that it is mapped to."""
    names = [cell.name for cell in named]
    for ours, theirs in mapping.items():
        its = next((c for c in named if theirs in (c.text, c.name)), None)
        if its is None:
            raise TraceError(
                f"there is no column {theirs}, which should serve as {ours}",
                Place(named[0].place.file, 1, 1),
                expected="one of " + ", ".join(c.text for c in named[:12]),
                hint=nearest(theirs, [c.name for c in named]),
            )
        names[its.position] = ours
    return names


def _sequences(named: Sequence[Named], renamed: Sequence[str]) -> tuple[LoggedSequence, ...]:
    places = {name.lower(): i for i, name in enumerate(renamed) if name}
    found = []
    for i, name in enumerate(renamed):
        whose, dot, last = name.rpartition(".")
        if last.lower() != "phase" or bool(whose) != bool(dot):
            continue
        cause = places.get(f"{whose}{dot}cause".lower())
        found.append(LoggedSequence(whose or ONLY_SEQUENCE, i, cause, named[i].place, named[i].text))
    if found:
        return tuple(found)
    raise TraceError(
        "this table has no column phase, so nothing says in which phase the machine was",
        Place(named[0].place.file, 1, 1),
        expected="a recording and its gait (--gait FILE), or a table with a column phase of names or whole "
        "numbers (left.phase, right.phase for several sequences)",
        hint=_phase_hint(renamed),
    )


def _phase_hint(names: Sequence[str]) -> str:
    likely = next((n for n in names if n.lower() in _LIKE_PHASE or "phase" in n.lower()), "")
    return f"if {likely} is the phase: --map phase={likely}" if likely else "say which gait with --gait"


def _time(named: Sequence[Named], renamed: Sequence[str]) -> Column:
    mapped = {name: cell for cell, name in zip(named, renamed, strict=True) if name == "time"}
    if "time" not in mapped:
        for cell in named:
            if cell.unit is None and (factor := _CLOCKS.get(cell.name.lower())):
                return Column(cell.position, cell.text, "time", factor=factor)
        any_case = [cell for cell in named if cell.name.lower() in ("time", "time_s", "time_ms", "time_us")]
        if any_case and all(cell.name != cell.name.lower() for cell in any_case):
            lowered = any_case[0]
            mapped["time"] = Named(
                lowered.position, lowered.text, lowered.name.lower(), lowered.unit, lowered.place
            )
    return find_time(named, (), mapped)


def _unit(cell: Named) -> str:
    if cell.unit is not None:
        return cell.unit
    for ending in sorted(_UNITS, key=len, reverse=True):
        if cell.name.endswith(f"_{ending}"):
            return _UNITS[ending]
    return ""
