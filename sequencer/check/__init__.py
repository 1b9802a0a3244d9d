"""Checks of a plan: each family of findings has its file; `check` runs them all."""

from sequencer.check.run import FAMILIES, Family, check

__all__ = ["FAMILIES", "Family", "check"]
