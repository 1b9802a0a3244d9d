"""Plots of runs that stand still, for notes and forums."""
