"""What the columns of a log are, as far as names and numbers tell: feet on the ground, targets, plots."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sequencer.show.diagram.feet import Foot, foot_named
from sequencer.show.report.contacts import foot_name
from sequencer.show.report.document import PlotShown
from sequencer.show.report.log_survey import ColumnFacts
from sequencer.show.report.plots import MOST_LINES
from sequencer.show.text import clean

_TOUCHING = frozenset("contact touch touching touchdown ground grounded stance".split())
_OF_FOOT = frozenset("foot feet sole toe heel footswitch fsr".split())
_TARGET = frozenset("target setpoint goal cmd command commanded desired reference".split())
_SIDE = re.compile(r"left|right|[lr]|front|fore|mid|middle|hind|rear|back|[lr][fmhb1-9]|[fmhb][lr]")
_SWINGS = frozenset("swing lift lifted up raise raised air fly flight transfer".split())


@dataclass(frozen=True, slots=True)
class ContactColumn:
    """A column that says whether a foot is on the ground: above `half` it is."""

    column: int
    name: str
    foot: Foot | None
    half: float


@dataclass(frozen=True, slots=True)
class Line:
    """A column that is drawn: its index, the words of its name without sides and targets, unit, on-off."""

    column: int
    kin: str
    unit: str
    on_off: bool


def words_of(name: str) -> list[str]:
    """Split a name into lower-case words.

    >>> words_of("LeftFoot contact"), words_of("lf_touch.value")
    (['left', 'foot', 'contact'], ['lf', 'touch', 'value'])
    """
    spaced = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name)
    return [word for word in re.split(r"[\W_]+", spaced.lower()) if word]


def contact_columns(names: Sequence[str], facts: Sequence[ColumnFacts]) -> list[ContactColumn]:
    """Find the columns that say whether a foot is on the ground.

    They have two values, or numbers from 0 to 1, and a word such as `contact` or `touch` in their name;
    `foot` and the like will do if they have two values and a side.
    """
    found = []
    for i, (name, its) in enumerate(zip(names, facts, strict=True)):
        words = words_of(name)
        foot = foot_named("_".join(words))
        share = its.numbers > 0 and its.least >= 0 and its.most <= 1
        touching = bool(_TOUCHING & set(words)) and (its.two is not None or share)
        if its.numbers and (touching or (_OF_FOOT & set(words) and its.two is not None and foot)):
            one_value = its.least == its.most
            half = its.least / 2 if one_value and its.least else (its.least + its.most) / 2
            found.append(ContactColumn(i, name, foot, half))
    return _with_feet_named(found)


def _with_feet_named(found: list[ContactColumn]) -> list[ContactColumn]:
    """Name contacts by their foot where each foot has one only; sort them from the front, left first."""
    feet = [contact.foot for contact in found]
    rows = 1 + max((foot.row for foot in feet if foot is not None), default=0)
    named = []
    for contact in found:
        alone = contact.foot is not None and feet.count(contact.foot) == 1
        name = foot_name(contact.foot, rows) if alone and contact.foot is not None else contact.name
        named.append(ContactColumn(contact.column, name, contact.foot, contact.half))
    return sorted(named, key=lambda c: (c.foot is None, c.foot or Foot(0, "left"), c.column))


def swinging(sequence: str, phases: Sequence[str]) -> tuple[Foot, frozenset[int]] | None:
    """Tell in which phases the foot that a sequence is named for is up; None if no name says so."""
    foot = foot_named("_".join(words_of(sequence)))
    up = frozenset(i for i, name in enumerate(phases) if _SWINGS & set(words_of(name)))
    return (foot, up) if foot is not None and up else None


def role_of(name: str, its: ColumnFacts) -> str:
    """Say what a column is on the page."""
    if _TARGET & set(words_of(name)):
        return "target"
    return "other" if its.on_off else "signal"


def line_of(column: int, name: str, unit: str, its: ColumnFacts) -> Line:
    """Describe a column for `plots_of_log`."""
    named = name.removesuffix(f"_{unit.replace('/', '_')}") if unit else name
    words = [w for w in words_of(named) if not _SIDE.fullmatch(w) and w not in _TARGET and w != "value"]
    return Line(column, " ".join(words) or name, unit, its.on_off and not unit)


def plots_of_log(lines: Sequence[Line]) -> list[PlotShown]:
    """Lay columns out in plots: the same thing of all sides and its target together, then what has its unit.

    Where a name has no unit, nothing says that two columns can share an axis, so only kin do.
    """
    plots: list[PlotShown] = []
    measured = [line for line in lines if not line.on_off]
    for unit in dict.fromkeys(line.unit for line in measured):
        kin = _by_kin(line for line in measured if line.unit == unit)
        plots += _packed(kin, unit, together=bool(unit))
    return plots + _packed(
        _by_kin(line for line in lines if line.on_off), "", together=True, title="on or off"
    )


def _by_kin(lines: Iterable[Line]) -> dict[str, list[Line]]:
    found: dict[str, list[Line]] = {}
    for line in lines:
        found.setdefault(line.kin, []).append(line)
    return found


def _packed(kin: dict[str, list[Line]], unit: str, *, together: bool, title: str = "") -> list[PlotShown]:
    plots: list[tuple[list[str], list[int]]] = []
    for name, its in kin.items():
        columns = [line.column for line in its]
        for start in range(0, len(columns), MOST_LINES):
            part = columns[start : start + MOST_LINES]
            if together and plots and len(plots[-1][1]) + len(part) <= MOST_LINES:
                plots[-1][0].append(name)
                plots[-1][1].extend(part)
            else:
                plots.append(([name], part))
    return [PlotShown(title or clean(_joined(names)), unit, columns) for names, columns in plots]


def _joined(names: Iterable[str]) -> str:
    different = list(dict.fromkeys(names))
    return ", ".join(different[:3]) + (f" and {len(different) - 3} more" if len(different) > 3 else "")
