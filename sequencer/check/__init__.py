"""Checks of a plan: each family of findings has its file; `check` and `judge` run them all, then explore."""

from sequencer.check.accepted import Accepted, Judged
from sequencer.check.explore.run import Counterexample, Exploring
from sequencer.check.run import FAMILIES, Family, check, judge

__all__ = ["FAMILIES", "Accepted", "Counterexample", "Exploring", "Family", "Judged", "check", "judge"]
