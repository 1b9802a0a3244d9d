"""Findings that the maker of a walk has looked at and accepts."""

from dataclasses import dataclass

from sequencer.base.places import Place


@dataclass(frozen=True, slots=True)
class Acceptance:
    """One entry under `accept:`, as plain data.

    code: the code of the findings that are accepted, as written. reason: why; empty if none is given.
    place: of the code in the file. covers: the places of the block in which it stands, without the blocks
    inside that may have an `accept` of their own. inside: the places of these, too.
    shared: it stands in a machine file, which other walks use as well.
    """

    code: str
    reason: str
    place: Place
    covers: frozenset[Place]
    inside: frozenset[Place]
    shared: bool = False
