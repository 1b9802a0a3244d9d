"""Every test here runs in every executor."""

from support.executors import make_executor

__all__ = ["make_executor"]
