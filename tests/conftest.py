"""What all tests share: golden files, tables that the run prints, hypothesis without a deadline."""

import os
import signal
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

TABLE = "printed table"

# the machines that run this are shared and slow at times; a deadline would make tests fail by chance
settings.register_profile("house", deadline=None, print_blob=True)
settings.load_profile("house")

# a shell that starts us in the background has Ctrl-C ignored, and so would have the commands that we start
signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--renew-golden", action="store_true", help="write golden files anew instead of comparing"
    )


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Callable[[Path, str], None]:
    """Compare a text with a golden file; `pytest --renew-golden`, and nothing else, writes the file."""

    def compare(path: Path, text: str) -> None:
        if request.config.getoption("--renew-golden"):
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
            return
        assert path.exists(), f"{path} is missing; `pytest --renew-golden` writes it"
        assert text == path.read_text(encoding="utf-8")

    return compare


@pytest.fixture
def print_table(record_property: Callable[[str, object], None]) -> Callable[[str], None]:
    """Hand over a table that stands at the end of the test run's output, also under xdist."""

    def hand_over(text: str) -> None:
        record_property(TABLE, text)

    return hand_over


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    reports = [r for kind in ("passed", "failed") for r in terminalreporter.stats.get(kind, [])]
    for report in reports:
        for name, text in getattr(report, "user_properties", ()):
            if name == TABLE and report.when == "call":
                terminalreporter.write_sep("-", report.nodeid)
                terminalreporter.write_line(str(text))


@pytest.fixture(autouse=True)
def _plain_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the settings of whoever runs the tests out of them."""
    for name in ("NO_COLOR", "FORCE_COLOR", "CXX", "CXXFLAGS"):
        if name in os.environ:
            monkeypatch.delenv(name)
