"""The browser for all tests of the page."""

from support.browser import browser, pages

__all__ = ["browser", "pages"]
