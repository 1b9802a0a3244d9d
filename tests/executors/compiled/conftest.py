"""Templates in which tests plant faults."""

from support.planted import templates

__all__ = ["templates"]
