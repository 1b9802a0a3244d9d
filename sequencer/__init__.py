"""Design walking sequences for legged machines: check, dry-run and draw them, and generate C++."""

__version__ = "0.1.0"
