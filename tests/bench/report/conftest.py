"""The browser for the benchmarks of the page."""

from support.browser import browser, pages

__all__ = ["browser", "pages"]
