"""Columns of a recording that no sensor gave: what a rehearsal in physics knows of the machine beside them.

Their names begin with ``truth.``; no executor reads them, and a dry-run does not list them as unread. A cell
is empty where there is nothing to say. The machine is seen in its frontal plane: y is positive to its left,
z up, and z is 0 at the floor. Lengths are in mm. FOOT and LINK are names of the body file.

=============================== ==========================================================================
``truth.clearance.FOOT [mm]``   height of the foot's lowest point over the floor; a little below 0 under load
``truth.contact.FOOT``          1 while the floor carries the foot, else 0
``truth.support_margin [mm]``   distance of the zero moment point from the edge of the area on which the
                                feet stand: > 0 inside; empty while no foot stands
``truth.link.LINK.y1 [mm]``     where a drawn link begins, with ``.z1``; and where it ends: ``.y2``, ``.z2``
=============================== ==========================================================================

For example ``truth.clearance.left_foot [mm]``, ``truth.link.left_thigh.z2 [mm]``. More columns may begin with
``truth.``; a reader takes those that it knows.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

PREFIX = "truth."
SUPPORT_MARGIN = "truth.support_margin [mm]"
ENDS = ("y1", "z1", "y2", "z2")

_COLUMN = re.compile(
    r"truth\.(?:(?P<kind>clearance|contact)\.(?P<foot>\w+)|(?P<margin>support_margin)"
    r"|link\.(?P<link>\w+)\.(?P<end>y1|z1|y2|z2))(?:\s*\[(?P<unit>[^\[\]]*)\])?",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class TruthColumns:
    """Where a recording's truth stands: numbers of columns in its header, from 0.

    clearance, contact: by foot. support_margin: None if there is none.
    links: by link, the columns of y1, z1, y2, z2; links that lack one of them are left out.
    All mappings are in the order of the file; all lengths are in mm.
    """

    clearance: Mapping[str, int]
    contact: Mapping[str, int]
    support_margin: int | None
    links: Mapping[str, tuple[int, int, int, int]]

    def __bool__(self) -> bool:
        return bool(self.clearance or self.contact or self.links) or self.support_margin is not None


def is_truth(column: str) -> bool:
    """Tell whether a column holds truth, known to us or not."""
    return column.strip().startswith(PREFIX)


def truth_columns(header: Iterable[str]) -> TruthColumns:
    """Find the truth among a recording's column names, as they stand in its first line.

    A column with another unit than mm is not taken; without a unit it is in mm.
    """
    clearance: dict[str, int] = {}
    contact: dict[str, int] = {}
    margin: int | None = None
    links: dict[str, dict[str, int]] = {}
    for position, text in enumerate(header):
        found = _COLUMN.fullmatch(text.strip())
        if found is None or found["unit"] not in (None, "" if found["kind"] == "contact" else "mm"):
            continue
        if found["kind"] is not None:
            table = clearance if found["kind"] == "clearance" else contact
            table.setdefault(found["foot"], position)
        elif found["margin"] is not None:
            margin = position if margin is None else margin
        else:
            links.setdefault(found["link"], {}).setdefault(found["end"], position)
    whole = {
        name: (ends["y1"], ends["z1"], ends["y2"], ends["z2"])
        for name, ends in links.items()
        if len(ends) == len(ENDS)
    }
    return TruthColumns(clearance, contact, margin, whole)


def clearance_column(foot: str) -> str:
    """Name the column of a foot's clearance."""
    return f"truth.clearance.{foot} [mm]"


def contact_column(foot: str) -> str:
    """Name the column of a foot's contact."""
    return f"truth.contact.{foot}"


def link_columns(link: str) -> tuple[str, ...]:
    """Name the columns of a drawn link: y1, z1, y2, z2."""
    return tuple(f"truth.link.{link}.{end} [mm]" for end in ENDS)
