"""Checks of a plan: each family of findings has its file; `check` runs them all, then explores."""

from sequencer.check.explore.run import Counterexample, Exploring
from sequencer.check.run import FAMILIES, Family, check, judge

__all__ = ["FAMILIES", "Counterexample", "Exploring", "Family", "check", "judge"]
