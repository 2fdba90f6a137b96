"""The numbered marks in the plan: one for each change and finding whose place is known."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from gcode_guard.record.page_model import Item
from gcode_guard.record.page_svg import LabelBoard, Point, points_text, tag

MOST = 60  # marks that stand in the plan all the time; further ones appear when they are chosen
OVER_LINES = 10  # of these, so many may cover lines where there is no other room


class Marks:
    """Marks as large as their numbers, placed on a board of labels."""

    def __init__(self, board: LabelBoard, size: float) -> None:
        self.board, self.size = board, size

    def draw(self, items: Sequence[Item]) -> list[Markup]:
        """The marks, in the order of the items; what refuses the program is placed first."""
        marked = [item for item in items if item.mark is not None]
        places: dict[int, Point] = {}
        half = 0.45 * self.size
        for item in sorted(marked, key=lambda item: (not item.trouble, item.number))[:MOST]:
            assert item.mark is not None
            x, y = item.mark
            words = "#" * max(4, len(f"{item.number:,}") + 1)
            label = self.board.place(words, (x - half, y - half, x + half, y + half), lines=2,
                                     over_lines=len(places) < OVER_LINES)
            if label is not None:
                places[item.number] = (label.box[0] + label.box[2]) / 2, (label.box[1] + label.box[3]) / 2
                self.board.take_line(places[item.number], item.mark, 0.1 * self.size)
        return [self._mark(item, places.get(item.number)) for item in marked]

    def _mark(self, item: Item, centre: Point | None) -> Markup:
        assert item.mark is not None
        size, quiet = self.size, "" if centre is not None else " quiet"
        drawn = []
        if centre is None:
            centre = item.mark
        else:
            drawn.append(tag("line", class_="leader", x1=centre[0], y1=-centre[1], x2=item.mark[0], y2=-item.mark[1]))
        x, y = centre[0], -centre[1]
        digits = f"{item.number:,}"
        letter = size * (1.0 if len(digits) < 3 else 0.75)
        drawn += [self._plate(item, x, y, max(0.85 * size, 0.32 * letter * len(digits) + 0.25 * size)),
                  tag("text", digits, x=x, y=y + 0.35 * letter, font_size=letter, text_anchor="middle")]
        return tag("a", Markup("").join(drawn), class_=f"mark {item.state}{quiet}", href=f"#item-{item.number}",
                   data_item=item.number, data_at=f"{item.mark[0]:.3f} {-item.mark[1]:.3f}",
                   aria_label=f"{item.number}: line {item.line}, {item.title}")

    def _plate(self, item: Item, x: float, y: float, wide: float) -> Markup:
        """Round for a change, square for what refuses the program, on its corner for a remark; wider than high for a
        long number. `wide`: half its width."""
        half = 0.85 * self.size
        if item.state == "remark":
            high, wide = 1.2 * half, 1.2 * half + wide - half
            return tag("polygon", class_="plate", points=points_text([(x, y - high), (x + wide, y), (x, y + high),
                                                                      (x - wide, y)]))
        return tag("rect", class_="plate", x=x - wide, y=y - half, width=2 * wide, height=2 * half,
                   rx=half if item.is_change else None)
