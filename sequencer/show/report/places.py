"""The lines of the gait's files that belong to a place in them."""

from collections.abc import Iterable
from pathlib import Path

from sequencer.base.places import Place
from sequencer.show.report.document import FilePlace, SourceFile
from sequencer.show.text import clean


class Sources:
    """The files that a plan was read from, and what stands where in them.

    A file that can't be read any more (standard input, say) has no lines; its places still tell the line.
    """

    def __init__(self, paths: Iterable[str]) -> None:
        self._paths = list(paths)
        texts = [_lines(path) for path in self._paths]
        self.files = [
            SourceFile(clean(Path(path).name), lines) for path, lines in zip(self._paths, texts, strict=True)
        ]

    def place(self, place: Place) -> FilePlace | None:
        """Give the lines of what begins at a place; None if that is in none of the files."""
        if place.file not in self._paths or place.line < 1:
            return None
        file = self._paths.index(place.file)
        return FilePlace(file, place.line, self._last(self.files[file].lines, place.line))

    def known(self, place: Place) -> FilePlace:
        """Do the same for a place that is in one of the files."""
        return self.place(place) or FilePlace(0, max(place.line, 1), max(place.line, 1))

    @staticmethod
    def _last(lines: list[str], first: int) -> int:
        """Find the last line of a YAML block: those after it that are indented further belong to it."""
        if first > len(lines):
            return first
        depth, last = _indent(lines[first - 1]), first
        for number in range(first + 1, len(lines) + 1):
            text = lines[number - 1]
            if text.strip() and _indent(text) <= depth:
                break
            if text.strip() and not text.lstrip().startswith("#"):
                last = number
        return last


def _indent(text: str) -> int:
    return len(text) - len(text.lstrip(" "))


def _lines(path: str) -> list[str]:
    try:
        text = Path(path).read_text(encoding="utf-8-sig", errors="replace")
    except OSError:
        return []
    return [clean(line) for line in text.splitlines()]
