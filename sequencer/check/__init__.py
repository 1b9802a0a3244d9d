"""Checks of a plan: each family of findings has its file; `check` runs them all."""

from sequencer.check.accepted import Accepted, Judged
from sequencer.check.run import FAMILIES, Family, check, judge

__all__ = ["FAMILIES", "Accepted", "Family", "Judged", "check", "judge"]
