"""Boards on an emulated bench: programs for them, things that happen to them, what they did."""
