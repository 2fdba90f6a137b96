"""The review page and the drawing of a bench: one HTML file each, complete in itself.

Everything that comes from a program or a setup is escaped by the template engine. The page's content security policy
allows its own one style sheet and its own one script, by their digests, and nothing else; nothing is fetched.
"""

from __future__ import annotations

import base64
import hashlib
import io
from collections.abc import Sequence
from functools import cache
from importlib import resources
from typing import IO, Any

import jinja2
from markupsafe import Markup

from gcode_guard.lengths import UNIT_WORD
from gcode_guard.record import page_words
from gcode_guard.record.findings import safe_text
from gcode_guard.record.log import millimetres, millimetres_rounded_up, seconds
from gcode_guard.record.page_model import Item, ReviewPage
from gcode_guard.record.page_pack import Fitted, Packed
from gcode_guard.record.page_plan import draw_plan
from gcode_guard.record.page_side import draw_side, draw_tool
from gcode_guard.record.summary import CAUTION, count, not_checked_with, summary_paragraph
from gcode_guard.setup.describe import describe
from gcode_guard.setup.model import Setup

VERDICTS = {
    "safe": ("Safe as it is", "Nothing has to change: no rapid comes inside the clearance of an obstacle."),
    "repaired": ("Repaired", "Rapids would have come too near to {names}; they were led clear."),
    "refused": ("Refused", "No program was written. What is listed below must be put right first."),
}
MOST_NAMES = 6  # of obstacles in the verdict
LARGEST = 4_950_000  # bytes of a page; 5 MB is the promise
SAID = 5_000  # bytes kept for what is said of what did not fit, and for a first block that deflates less well
BLOCKS_HERE, FITTED_HERE = Markup("<!--blocks-->"), Markup("<!--fitted-->")  # no text can hold either: it is escaped
SCRIPTS = ("plan.js", "page.js")
PACKED = ("plan.js", "unpack.js", "side.js", "side_drawing.js", "packed.js")
NEVER_SEEN = 0.1  # mm; a backdrop that is less off counts as whole
HITS = {"cleared": "rapids were led clear of it", "close": "comes close, without contact",
        "meets a move": "a move meets it"}


def write_review(out: IO[bytes], page: ReviewPage) -> None:
    """Writes the review page as UTF-8. Raises OSError."""
    setup = page.setup
    plan = draw_plan(setup, page.items, page.backdrop, page.hit, page.ways)
    values = {
        "page": page, "setup": setup, "summary": page.summary, "plan": plan, "verdict": _verdict(page),
        "reason": next((item for item in page.items if item.trouble), None), "backdrop": _backdrop(page),
        "hits": _hits(page), "file_name": _file_name(page.run.program),
        "paragraph": summary_paragraph(page.summary), "facts": _item_facts, "side": lambda item: _side(setup, item),
        "tools": [setup.tools[number] for number in page.tools], "unused": [t for n, t in setup.tools.items()
                                                                         if n not in page.tools],
        "title": f"Review of {_file_name(page.run.program)}", "blocks": "", "fitted": "",
        "drawn_note": _drawn(page)}
    if page.packed is None:
        write_document(out, "review.html", values)
    else:
        _write_packed(out, page.packed, values)


def _write_packed(out: IO[bytes], packed: Packed, values: dict[str, Any]) -> None:
    """Writes a page with packed items: as many as fit, and what does not fit is said."""
    drawn = io.BytesIO()
    write_document(drawn, "review.html", {**values, "blocks": BLOCKS_HERE, "fitted": FITTED_HERE}, scripts=PACKED)
    html = drawn.getvalue()
    header = packed.header([(chunk, True) for shelf in packed.shelves for chunk in shelf])
    fitted = packed.fit(LARGEST - len(html) - len(header) - SAID)
    note = "".join(str(Markup('<p class="note">{}</p>').format(sentence)) for sentence in _left_out(fitted))
    before, behind = html.replace(str(FITTED_HERE).encode(), note.encode()).split(str(BLOCKS_HERE).encode())
    out.write(before)
    for name, text in packed.blocks(fitted):
        out.write(f'<script type="application/octet-stream" id="{name}">{text}</script>\n'.encode())
    out.write(behind)


def _drawn(page: ReviewPage) -> str:
    """Which items are printed and shown without a script, where there are more."""
    changes = sum(item.is_change for item in page.items)
    found = len(page.items) - changes
    all_of = page.packed.count if page.packed is not None else 0
    listed = page_words.list_of([f"the {count(changes, 'change')} with the greatest lifts"] * bool(changes)
                                + [f"the first {count(found, 'finding')}"] * bool(found))
    return (f"Printed, and shown without a script, are {listed}, of {all_of:,} changes and findings. The others are in"
            " this page on a screen, in the diff and in the log (--log).")


def _left_out(fitted: Fitted) -> list[str]:
    """What of the items did not fit on the page, in sentences."""
    sentences = []
    if fitted.left_out:
        sentences.append(f"The page is kept under 5 MB: {count(fitted.left_out, 'change')} from line"
                         f" {fitted.from_line:,} on did not fit. The diff and the log have them all.")
    if fitted.bare:
        sentences.append(f"The page is kept under 5 MB: {count(fitted.bare, 'block')} are shown without the lines round"
                         " them.")
    return sentences


def write_bench(out: IO[bytes], setup: Setup) -> None:
    """Writes the drawing of a bench alone, to be held against the real one. Raises OSError."""
    write_document(out, "bench.html", {"setup": setup, "plan": draw_plan(setup), "tools": list(setup.tools.values()),
                                       "rows": describe(setup), "cutter_only": bool(setup.bare_tools()),
                                       "not_checked": not_checked_with(setup),
                                       "title": f"Bench of {safe_text(setup.path.name)}"})


def _file_name(program: str) -> str:
    """The program's name without its folders: the foot of the page has the whole of it."""
    return safe_text(program.rstrip("/").rsplit("/", 1)[-1] or program)


def _verdict(page: ReviewPage) -> tuple[str, str]:
    """The verdict, and what it comes to in a sentence."""
    title, sentence = VERDICTS[page.summary.verdict]
    led = [obstacle.name for obstacle in page.setup.obstacles if page.hit.get(obstacle.name) == "cleared"]
    names = [f"“{page_words.cut(safe_text(name))}”" for name in led]
    listed = page_words.list_of(page_words.few(names, MOST_NAMES)) or "what stands on the table"
    return title, sentence.replace("{names}", listed)


def _hits(page: ReviewPage) -> list[str]:
    """What happens at each obstacle, in words. Of a program that was not understood, nothing good is said."""
    nothing = "nothing comes near" if page.summary.exit != 4 else "nothing found, as far as the program was read"
    led = "rapids were led clear of it" if page.summary.verdict != "refused" else "rapids come too near"
    return [{**HITS, "cleared": led}.get(page.hit.get(o.name, ""), nothing) for o in page.setup.obstacles]


def _backdrop(page: ReviewPage) -> str:
    """What the backdrop shows and what it leaves out, in a sentence."""
    drawn, units = page.backdrop, page.setup.units
    if not drawn.cut_count and not drawn.rapid_count:
        return "No move of the program is drawn, since none was read whose place is known."
    moves = f"{count(drawn.cut_count, 'cut')} and {count(drawn.rapid_count, 'rapid')}"
    if drawn.off_by < NEVER_SEEN and not drawn.left_out:
        return f"Drawn whole: {moves}."
    left_out = f"; {count(drawn.left_out, 'move')} of them are left out of the picture" if drawn.left_out else ""
    off_by = f"{page_words.short(drawn.off_by, units)} {UNIT_WORD[units]}"
    return (f"The backdrop is thinned: {moves} are drawn as {count(drawn.drawn, 'straight piece')}, nowhere farther"
            f" than {off_by} from where they run{left_out}. Changes and findings are not thinned.")


def _side(setup: Setup, item: Item) -> Markup:
    assert item.profile is not None
    return draw_side(item.profile, setup.units, f"Side view of line {item.line}")


def _item_facts(item: Item, setup: Setup) -> list[tuple[str, str, str, float | None]]:
    """The numbers of an item: (key of the log, what it is, as text, as the log has it)."""
    units, names = setup.units, page_words.FACTS
    if item.is_change:
        profile = item.profile
        needed = names["nothing"] if item.needed_z is None else page_words.needed(item.needed_z, units)
        rows = [("programmed_z_mm", names["programmed"], page_words.length(item.programmed_z, units),
                 millimetres(item.programmed_z)),
                ("needed_z_mm", names["needed"], needed, millimetres_rounded_up(item.needed_z))]
        if item.cause is not None and profile is not None and profile.needed_z is not None:
            rows.append(("", names["clear"].format(item.cause), page_words.needed(profile.needed_z, units), None))
        rows.append(("written_z_mm", names["written"], page_words.length(item.written_z, units),
                     millimetres(item.written_z)))
        if profile is not None:
            for where, left in (("over", profile.left_over), ("beside", profile.left_beside)):
                if left is not None:
                    rows.append(("", names[where], page_words.length(left, units), None))
        rows.append(("added_s", names["added"], page_words.time(item.added_s), seconds(item.added_s)))
        return rows
    if item.by is None:
        return []
    name = names["outside"] if item.kind == "out-of-reach" else names["by"]
    return [("by_mm", name, page_words.length(item.by, units), millimetres(item.by))]


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(_template), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True)
    environment.filters["safe_text"] = safe_text
    environment.globals.update(count=count, words=page_words, tool_drawing=draw_tool, caution=CAUTION)
    return environment


def _template(name: str) -> str:
    return (resources.files("gcode_guard") / "templates" / name).read_text(encoding="utf-8")


def write_document(out: IO[bytes], name: str, values: dict[str, Any], more_style: str = "",
                   scripts: Sequence[str] = SCRIPTS) -> None:
    """Fills a template with values; `more_style` names a style sheet for this document alone, `scripts` what its one
    script is made of. Raises OSError."""
    style = _template("page.css") + (_template(more_style) if more_style else "")
    script = '"use strict";\n(function () {\n' + "\n".join(map(_template, scripts)) + "})();\n"
    policy = (f"default-src 'none'; style-src {_digest(style)}; script-src {_digest(script)}; img-src data:; "
              "base-uri 'none'; form-action 'none'")
    stream = _environment().get_template(name).stream(style=Markup(style), script=Markup(script), policy=policy,
                                                      **values)
    writer = io.TextIOWrapper(out, encoding="utf-8", errors="backslashreplace", newline="\n")  # type: ignore[arg-type]
    try:
        stream.enable_buffering(64)
        for part in stream:
            writer.write(part)
        writer.flush()
    finally:
        writer.detach()


def _digest(text: str) -> str:
    """A source of a policy: the digest of an inline element's text (Content Security Policy Level 3, W3C)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
