"""The mirror image of names, levels and comparisons.

Whole underscore-separated words of names are swapped both ways, where the swapped name exists; other names
stay. Signals and setpoints under `negate` change their sign, and with it the sense of their thresholds.
"""

from dataclasses import dataclass

_TURNED = {
    "at_least": "at_most",
    "at_most": "at_least",
    "above": "below",
    "below": "above",
    "within": "within",
    "outside": "outside",
}


@dataclass(frozen=True, slots=True)
class Mirror:
    """How one side of a walk becomes the other. `known` are the names that exist."""

    words: dict[str, str]
    negate: frozenset[str]
    phases: dict[str, str]
    known: frozenset[str]

    def name(self, name: str) -> str:
        """Give the mirror image of a name, or the name itself if there is none."""
        swapped = self.swapped_words(name)
        return swapped if swapped in self.known else name

    def swapped_words(self, name: str) -> str:
        """Swap the words of a name, whether or not such a name exists."""
        return "_".join(self.words.get(word, word) for word in name.split("_"))

    def phase(self, name: str) -> str:
        """Give the mirror image of a phase."""
        return self.phases.get(name, name)

    def negates(self, name: str) -> bool:
        """Tell whether a signal or setpoint changes its sign."""
        return name in self.negate


def make_mirror(swap: dict[str, str], negate: list[str], phases: dict[str, str], known: set[str]) -> Mirror:
    """Make a mirror that works both ways from what the file says one way."""
    return Mirror(
        words={**swap, **{b: a for a, b in swap.items()}},
        negate=frozenset(negate),
        phases={**phases, **{b: a for a, b in phases.items()}},
        known=frozenset(known),
    )


def turned(op: str) -> str:
    """Give the comparison that says the same of the negated value."""
    return _TURNED[op]
