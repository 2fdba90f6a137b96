"""A progress bar on standard error for long programs, only when it is a terminal."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterator

from .source import Source

PATIENCE = 1.0  # seconds before a bar appears


@contextlib.contextmanager
def progress_for(source: Source) -> Iterator[Callable[[int], None] | None]:
    """A function that takes the line reached, or None where nobody watches."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    total = sum(1 for _ in source.lines())
    begun = time.monotonic()
    bar = Progress(TextColumn("{task.completed:,.0f} of {task.total:,.0f} blocks"), BarColumn(), TimeElapsedColumn(),
                   console=Console(stderr=True), transient=True)
    task = bar.add_task("", total=total)

    def tell(line: int) -> None:
        if time.monotonic() - begun > PATIENCE and not bar.live.is_started:
            bar.start()
        bar.update(task, completed=line)

    try:
        yield tell
    finally:
        bar.stop()
