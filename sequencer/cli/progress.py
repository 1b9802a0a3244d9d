"""A progress bar for work that takes longer than two seconds, only on a terminal."""

import sys
import threading
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

if TYPE_CHECKING:
    from rich.progress import Progress as RichProgress
    from rich.progress import TaskID

PATIENCE_S: Final = 2.0


class Progress:
    """Shows nothing for two seconds, then a bar on standard error; without a known total, a moving one.

    rich is imported only when the bar appears.
    """

    def __init__(self, label: str, *, quiet: bool = False) -> None:
        self._label = label
        self._wanted = not quiet and sys.stderr.isatty()
        self._timer = threading.Timer(PATIENCE_S, self._appear)
        self._timer.daemon = True
        self._lock = threading.Lock()
        self._bar: RichProgress | None = None
        self._task: TaskID | None = None
        self._over = False

    def __enter__(self) -> Self:
        if self._wanted:
            self._timer.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._timer.cancel()
        with self._lock:
            self._over = True
            if self._bar is not None:
                self._bar.stop()

    def update(self, done: float, total: float | None = None) -> None:
        """Tell how far the work has come, in whatever unit `total` has."""
        with self._lock:
            if self._bar is not None and self._task is not None:
                self._bar.update(self._task, completed=done, total=total)

    def _appear(self) -> None:
        from rich.console import Console
        from rich.progress import Progress as RichProgress

        with self._lock:
            if self._over:
                return
            self._bar = RichProgress(console=Console(stderr=True), transient=True)
            self._task = self._bar.add_task(self._label, total=None)
            self._bar.start()
