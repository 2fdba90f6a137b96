"""The review page of a program, as the watch puts it beside the outputs."""

from __future__ import annotations

from html import escape
from typing import IO

from gcode_guard.guard import Outcome
from gcode_guard.record.findings import safe_text
from gcode_guard.record.summary import summary_paragraph
from gcode_guard.setup.model import Setup
from gcode_guard.source import Source


def write_review(out: IO[bytes], source: Source, setup: Setup, outcome: Outcome) -> None:
    """Writes the page. A page that cannot be drawn says so and keeps no program back: the proof does not hang on it.

    Raises OSError.
    """
    from gcode_guard.picture import write_page

    try:
        write_page(out, source, setup, outcome, None)
    except OSError:
        raise
    except Exception as error:
        out.seek(0)
        out.truncate()
        write_plain_page(out, source.name, f"The page could not be drawn ({type(error).__name__}: {error})."
                         " This is a defect of gcode-guard: please report it with the program and the setup."
                         f"\n{summary_paragraph(outcome.summary)}")


def write_plain_page(out: IO[bytes], name: str, text: str) -> None:
    """A page of words alone, for what has no picture. Raises OSError."""
    title = escape(safe_text(name))
    body = "".join(f"<p>{escape(safe_text(line))}</p>\n" for line in text.splitlines() if line)
    text = (f'<!DOCTYPE html>\n<html lang="en">\n<meta charset="utf-8">\n<title>{title}</title>\n'
            f"<h1>{title}</h1>\n{body}</html>\n")
    out.write(text.encode("utf-8", "backslashreplace"))
