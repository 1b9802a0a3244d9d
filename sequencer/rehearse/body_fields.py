"""Taking numbers and names out of a body file; each wrong one is an error with its place."""

import difflib
from collections.abc import Iterable

from sequencer.base.findings import Finding, Severity
from sequencer.base.quantities import Quantity, UnitError, convert
from sequencer.gait.body_load import LoadedBody
from sequencer.gait.body_model import Triple
from sequencer.gait.nodes import Path
from sequencer.rehearse.body import Vector

_OF_LINKS = ("link", "joint")


class Fields:
    """Notes errors in `findings` and goes on with something harmless in their place."""

    def __init__(self, loaded: LoadedBody) -> None:
        self.findings: list[Finding] = list(loaded.findings)
        self._loaded = loaded
        self.links_told = any(cut[:1] == ("links",) for cut in loaded.cut)  # some link or joint is wrong

    def error(self, code: str, path: Path, message: str, expected: str, fix: str = "") -> None:
        """Note an error at the value at `path`."""
        place = self._loaded.where.value(path)
        self.findings.append(Finding(code, Severity.ERROR, place, message, expected=expected, fix=fix))

    def was_cut(self, *path: str | int) -> bool:
        """Tell whether what stood there is left out because of an error that has been told."""
        return path in self._loaded.cut

    def number(self, quantity: Quantity | None, unit: str, *path: str | int) -> float:
        """Give a quantity in `unit`; 0 if it is left out."""
        if quantity is None:
            return 0.0
        try:
            return convert(quantity, unit)
        except UnitError as error:
            expected = f"a number in {unit} or a unit that converts to it" if unit else "a bare number"
            key = next(part for part in reversed(path) if isinstance(part, str))
            self.error("bad-unit", path, f"{key}: {error}", expected)
            return 1.0

    def not_below(self, quantity: Quantity | None, unit: str, *path: str | int) -> float:
        """Give a quantity that cannot be negative; 0 if it is left out."""
        value = self.number(quantity, unit, *path)
        if value < 0:
            self.error("out-of-span", path, f"{path[-1]} cannot be negative", "0 or more")
            return 0.0
        return value

    def above(self, quantity: Quantity, unit: str, *path: str | int) -> float:
        """Give a quantity that must be above 0."""
        value = self.number(quantity, unit, *path)
        if value <= 0:
            self.error("out-of-span", path, f"{path[-1]} must be above 0", "more than 0")
            return 1.0
        return value

    def triple(self, lengths: Triple, *path: str | int) -> Vector:
        """Give three lengths in m."""
        forward, left, up = (self.number(q, "m", *path, i) for i, q in enumerate(lengths))
        return forward, left, up

    def sizes(self, lengths: Triple, *path: str | int) -> Vector:
        """Give three lengths above 0 in m."""
        long, wide, high = (self.above(q, "m", *path, i) for i, q in enumerate(lengths))
        return long, wide, high

    def named(
        self, name: str, known: Iterable[str], kind: str, path: Path, *, on_key: bool = False
    ) -> int | None:
        """Give the number of a name among those known; note an error if it is none of them."""
        names = list(known)
        if name in names:
            return names.index(name)
        if kind in _OF_LINKS and self.links_told:
            return None  # it may be among those that are wrong
        close = difflib.get_close_matches(name, names, n=1)
        place = self._loaded.where.key(path) if on_key else self._loaded.where.value(path)
        said = ", ".join(names[:20]) or f"a {kind}, and there is none"
        fix = f"did you mean {close[0]}?" if close else ""
        message = f"there is no {kind} {name}"
        self.findings.append(
            Finding("unknown-name", Severity.ERROR, place, message, expected=f"one of {said}", fix=fix)
        )
        return None
