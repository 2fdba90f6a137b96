"""Planning one run: which heights it is flown at, and which blocks say so.

The heights of a run are planned together. Where a block has a Z word, that word is raised for everything that follows
at its level; where none has, the tool goes up just before it must, stays up, and comes down at the end of the run.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from math import inf

from ..lengths import length, length_up
from ..program.doubt import ADVICE as ADVICE_RETURN
from ..program.moves import Kind, Step
from ..program.state import Coordinate, Position, Span, State, all_known, known, known_in_plan
from .choices import Choice
from .chosen import carry_out as carry_choice_out
from .cycle import enter_cycle
from .detour import lead_round
from .edits import Draft
from .limits import ADVICE_HIGH, Limits, Stuck, advice_on_length
from .run import Item, Run, finite, literal_z, lowest, programmed_height
from .surgery import Apart, axis_words, is_bare, text_of, with_word
from .whole import keep_whole, keeps_height
from .write import Pen, Style


@dataclass(slots=True)
class Plan:
    """The planning of one run. `actual` is where the tool stands in the mended program, nominal unless raised.

    `drafts` holds the pieces of blocks by the identity of their step: several runs may meet in one block.
    `choices`: what blocks are to do, by the place of their item; the others do what they need.
    `restate`: the cycle that ends the run is to be stated anew; `begun_at` is where a cycle that was begins, mm.
    """

    run: Run
    style: Style
    limits: Limits
    actual: Coordinate
    drafts: dict[int, Draft] = field(default_factory=dict)
    pending_motion: Step | None = None
    choices: dict[int, Choice] = field(default_factory=dict)
    restate: bool = False
    begun_at: Decimal | None = None

    def carry_out(self) -> Coordinate:
        """Plans the run; returns the height at which the tool stands afterwards. Raises Stuck."""
        for place, item in enumerate(self.run.items):
            doubt = self._doubt(item)
            follow = self._follow(place)
            last = place == len(self.run.items) - 1
            if item.need == inf and item.crosses and item.whole:
                self._too_high(item, inf)
            if place in self.choices:
                carry_choice_out(self, item, self.choices[place], place)
                self._blame(item, place)
            elif item.kind == "plain":
                self._plain(item, follow, last, place)
                if follow > -inf:
                    self._blame(item, place)
            elif item.kind in ("home", "machine"):
                keep_whole(self, item, follow)
            elif item.kind == "entry":
                self._entry(item, place)
            else:
                self._fixed(item)
            if doubt is not None and self.actual == doubt[1]:
                self.actual = doubt[0]
        self._come_down()
        return self.actual

    def _doubt(self, item: Item) -> tuple[Coordinate, Span] | None:
        """Where a cycle may have left the tool at its R level too, it is lifted out of either height: the height that
        is taken, and both."""
        left = item.step.before.left
        if left is None or item.kind == "entry" or self.actual != left[0] or \
                not any(leg.move.shadow for leg in item.legs):
            return None
        self.actual = Span(float(min(left)), float(max(left)))
        return left[0], self.actual

    def name_obstacles(self) -> None:
        """A block that only comes down again changes for what the run was raised over, and names it."""
        own = [self.drafts[id(item.step)] for item in self.run.items if id(item.step) in self.drafts]
        for draft in own:
            draft.obstacles = draft.obstacles or set().union(*(other.obstacles for other in own))

    def draft(self, item: Item) -> Draft:
        key = id(item.step)
        if key not in self.drafts:
            after = item.step.after
            draft = self.drafts[key] = Draft(item.step.block, origin=float(after.shift[2] + after.extra[2]))
            # A block that leads nowhere says a height all the same.
            draft.programmed = programmed_height([leg.move for leg in item.legs]) if item.legs else \
                finite(item.end[2])
        draft = self.drafts[key]
        draft.obstacles.update(item.obstacles)
        draft.moves = [move for move in item.step.moves if move.kind == Kind.RAPID and not move.shadow]
        return draft

    def _follow(self, place: int) -> float:
        """The height that what follows needs at the level which the item at `place` sets, as far as there is one."""
        need = self._needed_after(place)
        if need <= self.limits.ceiling:
            return need
        # As high as the machine can: in the units of the program that may be a digit lower.
        pen = self._pen(self.run.items[place].step.after)
        if pen.incremental and not known(self.actual):
            return self.limits.ceiling
        return float(pen.highest(self.limits.ceiling, self.actual)[1])

    def _needed_after(self, place: int) -> float:
        need = -inf
        for item in self.run.items[place + 1 :]:
            # What no height cures asks for none: it is led round.
            own = item.need if item.need < inf else -inf
            if item.sets_z:
                return max(need, own if item.crosses else -inf)
            if item.kind == "home" and not keeps_height(item):
                return max(need, own)  # it leaves the tool at a height of its own
            need = max(need, own)
        return need

    # One item after the other ---------------------------------------------------------------------------------

    def _plain(self, item: Item, follow: float, last: bool, place: int) -> None:
        if item.has_z and not item.crosses:
            self._upright(item, follow, last, place)
        elif not item.has_z:
            need = self._trusted_need(item)
            low = lowest(self.actual) if need < inf else -inf  # no height, not even a high one, takes the shoe over
            if need > low and not lead_round(self, item, need):
                self._rise_before(item, max(need, follow))
            self._note_level(item)
        else:
            self._slanted(item, follow, last, place)

    def _trusted_need(self, item: Item) -> float:
        """The height a block needs; out of an unknown height, with nothing near its way or nothing that asks for more
        than the stock does (a spindle high above it), that which clears all."""
        untrusted = not all(leg.trusted for leg in item.legs) and lowest(self.actual) == -inf
        return max(self.limits.everything, item.need) if untrusted and item.need < self.limits.floor else item.need

    def _blame(self, item: Item, place: int) -> None:
        """Names the obstacles of what follows at the level that the item sets."""
        if id(item.step) not in self.drafts:
            return
        for later in self.run.items[place + 1 :]:
            self.drafts[id(item.step)].obstacles.update(later.obstacles)
            if later.sets_z:
                return

    def _upright(self, item: Item, follow: float, last: bool, place: int) -> None:
        end = item.end[2]
        want = max(follow, item.need)
        stays_up = not item.legs and not known_in_plan(item.end)
        if stays_up and self.actual != end:
            want = max(want, lowest(self.actual))  # its height is said once more, at a place that is still unknown
        if last and known_in_plan(item.end):
            want = follow  # an upright end within an obstacle: reported by the guard, not cured by a lift
        # An undercut tool: what follows is mended from where it is free.
        comes_free = lowest(self.actual) < self.limits.rise_from <= lowest(end) and item.need == -inf and not stays_up
        if want > lowest(end) and literal_z(item) and not comes_free:
            self._raise_word(item, want)
        elif want > lowest(end) and (item.need > -inf or (stays_up and self.actual != end)):
            raise Stuck(item, 3, "its Z word is not a plain number", "write the height as a number")
        else:
            self._reach(item, end, place)

    def _raise_word(self, item: Item, want: float) -> None:
        text, reached = self._rise_text(item, item.step.after, want)
        self._set_word(item, text)
        self.actual = reached
        self._note_level(item)

    def _reach(self, item: Item, end: Coordinate, place: int) -> None:
        """The block leads to its own end. Under G91 its increment changes if the tool stands higher than it knew;
        where that cannot be written, the tool comes down before it."""
        start = item.step.before.position
        if item.step.after.distance == "G91" and self.actual != start[2]:
            if isinstance(end, Span) or isinstance(self.actual, Span):
                raise Stuck(item, 3, "its increment cannot be changed", "write it as absolute distances (G90)")
            if not literal_z(item):
                self._before_own_increment(item, start, place)
                self.actual = end
                return
            self._set_word(item, self._pen(item.step.after).exactly(2, end, self.actual))
        self.actual = end

    def _before_own_increment(self, item: Item, start: Position, place: int) -> None:
        before = self.run.items[:place]
        if not before or any(leg.contact for leg in before[-1].legs) or not all_known(start):
            raise Stuck(item, 3, "its increment cannot be changed", "write it as absolute distances (G90)")
        self._come_down_at(before, start)

    def _set_word(self, item: Item, text: str) -> None:
        draft = self.draft(item)
        draft.own = [with_word(item.step.block, "Z", text)]
        draft.axes = [text if word.letter == "Z" else text_of(item.step.block, word)
                      for word in axis_words(item.step.block).values()]
        draft.kind = "lift"

    def _slanted(self, item: Item, follow: float, last: bool, place: int) -> None:
        """A block that goes across and changes height: whole where that is clear, else in the order that stays high."""
        end, need = item.end[2], self._trusted_need(item)
        if isinstance(self.actual, Span) and self.actual != item.step.before.position[2]:
            need = max(need, self.limits.need_from_high(item, self.actual))
        last = last and known_in_plan(item.end)  # at an unknown place nothing may come down
        want = max(follow, need)
        stays_up = want > lowest(end) and not last
        # Out of a height above all that the machine has it goes across and comes down: no word can lead up there.
        if lowest(self.actual) >= need > self.limits.ceiling and all_known(item.end):
            stays_up = False
        target = want if stays_up and literal_z(item) else lowest(end)
        clear_start, clear_end = lowest(self.actual) >= need, target >= need
        if clear_start and clear_end and need < inf:
            if target > lowest(end):
                self._raise_word(item, target)
            else:
                self._reach(item, end, place)
            return
        if (clear_start and need < inf) or not lead_round(self, item, need):
            if need == inf:
                self._too_high(item, need)
            self._apart(item, need, want if stays_up else None)

    def _apart(self, item: Item, need: float, raised: float | None) -> None:
        """Up, across, down: those of the three that the block needs."""
        self._may_edit(item, taken_apart=True)
        step, block, words = item.step, item.step.block, axis_words(item.step.block)
        pen, end = self._pen(step.after), item.end[2]
        across = [text_of(block, words[letter]) for letter in "XY" if letter in words]
        pieces: list[list[str]] = []
        if raised is None and lowest(end) >= need:
            pieces.append([self._own_z(item, pen)])
            self._check_rise(item, lowest(end))
            self.actual = end
        elif lowest(self.actual) < need:
            text, self.actual = self._rise_text(item, step.after, need if raised is None else raised)
            pieces.append([text])
        level = self.actual
        pieces.append(across)
        if self.actual != end and raised is None:  # what is raised comes down at the end of the run
            pieces.append([self._down_text(item, pen)])
        self._write_pieces(item, pieces)
        self.draft(item).level = finite(level)

    def _own_z(self, item: Item, pen: Pen) -> str:
        end = item.end[2]
        word = axis_words(item.step.block)["Z"]
        if pen.incremental and not isinstance(end, Span) and not isinstance(self.actual, Span) and \
                self.actual != item.step.before.position[2]:
            return pen.exactly(2, end, self.actual)
        return text_of(item.step.block, word)

    def _down_text(self, item: Item, pen: Pen) -> str:
        end = item.end[2]
        if isinstance(end, Span):
            raise Stuck(item, 4, "its end is at a height that is not known", ADVICE_HIGH)
        if pen.incremental:
            if isinstance(self.actual, Span):
                raise Stuck(item, 4, "an increment starts at a height that is not known", ADVICE_HIGH)
            text = pen.exactly(2, end, self.actual)
        else:
            text = text_of(item.step.block, axis_words(item.step.block)["Z"])
        self.actual = end
        return text

    def _write_pieces(self, item: Item, pieces: list[list[str]]) -> None:
        draft, block = self.draft(item), item.step.block
        apart = Apart(block)
        gap = self.style.gap
        draft.kind = "split"
        if len(pieces) == 1:
            draft.own, draft.axes = [apart.alone(pieces[0], gap)], pieces[0]
            return
        texts = [self.style.block(*words, deleted=block.deleted) for words in pieces[1:]]
        texts[-1] = gap.join([texts[-1], *apart.last_words()])
        draft.own = [apart.first(pieces[0], gap), *texts]

    def _rise_before(self, item: Item, want: float) -> None:
        """Puts a rise before a block that goes across: a block of its own, or the first piece of what it becomes."""
        block, step = item.step.block, item.step
        self._may_edit(item, taken_apart=False)
        if is_bare(block, step.codes) or item.whole:
            if item.whole and step.effects and step.effects[0].after_move == 0:
                raise Stuck(item, 3, "its block carries more than its move and must not be taken apart",
                            "put the spindle, tool and stop words on a line of their own")
            text, reached = self._rise_text(item, step.before, want)
            self.draft(item).before.append(self.style.block(text, deleted=block.deleted))
            if item.kind == "home" and step.before.motion == "G80":
                self.draft(item).before.append(("/" if block.deleted else "") + self.style.letter("G") + "80")
            self._motion_after(item)
            self.actual = reached
            return
        text, reached = self._rise_text(item, step.after, want)
        words = axis_words(block)
        self.actual = reached
        self._write_pieces(item, [[text], [text_of(block, words[letter]) for letter in "XY" if letter in words]])

    def _motion_after(self, item: Item) -> None:
        """A G0 put in before a block without a motion of its own leaves another motion in force behind it."""
        if item.kind == "home" and item.step.before.motion not in ("G0", "G80"):
            self.pending_motion = item.step

    def _entry(self, item: Item, place: int) -> None:
        """The way to a hole of a cycle: where it must be lifted, the tool is led there before the block."""
        need = self._trusted_need(item)
        first = next(leg.move for leg in item.legs if not leg.move.shadow)
        start = first.start[2]
        # In another plane than G17 the way across need not be level.
        lows = (min(lowest(leg.move.start[2]), inf if leg.move.upright else lowest(leg.move.end[2]))
                for leg in item.legs if leg.bad)
        anew = self.restate and item is self.run.items[-1]
        if anew or need == inf or need > min(lows, default=inf) or (need > -inf and lowest(start) == -inf):
            self._may_edit(item, taken_apart=True)
            enter_cycle(self, item, need)
        elif self.actual != start and item.hole == 0:
            self._come_down_at(self.run.items[:place], first.start)
        self.actual = item.end[2]

    def _fixed(self, item: Item) -> None:
        for leg in item.legs:
            if leg.bad:
                raise Stuck(item, 3, "a rapid within its cycle comes too near", "write the hole as plain moves")
        self.actual = item.end[2]

    # The end of the run ---------------------------------------------------------------------------------------

    def _come_down(self) -> None:
        end = self.run.end
        if self.actual != end[2] and all_known(end):
            self._come_down_at(self.run.items, end)
            self.actual = end[2]

    def _come_down_at(self, items: list[Item], place: Position) -> None:
        """Puts the way down to the nominal height behind the last of `items`."""
        if not items:
            return
        item, z = items[-1], place[2]
        if not known_in_plan(place) or isinstance(z, Span):
            return
        if item.kind == "fixed" or item.step.frozen:
            raise Stuck(item, 3, "nothing may be put in behind it", "raise the traverse in the program itself")
        self._can_write(item, item.step.after)
        pen = self._pen(item.step.after)
        if pen.incremental and not known(self.actual):
            raise Stuck(item, 4, "an increment starts at a height that is not known", ADVICE_HIGH)
        draft, block = self.draft(item), item.step.block
        if draft.level is None:
            draft.level = finite(self.actual)
        down = pen.exactly(2, z, self.actual)
        stops = Apart(block).last_words() if not item.whole else []
        if stops:
            self._take_out(draft, stops)
        draft.after.append(self.style.block(down, *stops, deleted=block.deleted))
        draft.kind = "detour" if draft.kind == "detour" else "split"
        if item.kind == "home":
            self._motion_after(item)
            if item.step.before.motion == "G80":
                draft.after.append(("/" if block.deleted else "") + self.style.letter("G") + "80")

    def _take_out(self, draft: Draft, stops: list[str]) -> None:
        """Takes the stops and settings out of a block, which are to stand behind the way down after it."""
        block = draft.block
        axes = draft.axes or [text_of(block, word) for word in axis_words(block).values()]
        if draft.own is not None and len(draft.own) > 1:
            for word in reversed(stops):  # the last piece ends in them
                draft.own[-1] = draft.own[-1].removesuffix(word).removesuffix(self.style.gap)
        else:
            draft.own = [Apart(block).first(axes, self.style.gap)]

    # What may be written --------------------------------------------------------------------------------------

    def _pen(self, state: State) -> Pen:
        return Pen(self.style, state)

    def _note_level(self, item: Item) -> None:
        if id(item.step) in self.drafts:
            self.drafts[id(item.step)].level = finite(self.actual)

    def _may_edit(self, item: Item, taken_apart: bool) -> None:
        if item.step.frozen:
            raise Stuck(item, 3, "it runs under cutter compensation, where nothing may be put in",
                        "raise the traverse in the program, or move the obstacle")
        if taken_apart and item.whole:
            raise Stuck(item, 3, f"its block ({', '.join(item.step.codes)}) must not be taken apart",
                        "put the move on a line of its own")

    def _can_write(self, item: Item, state: State) -> None:
        if not state.length_known:
            raise Stuck(item, 4, "no tool length offset is in force here, so no height can be written",
                        advice_on_length(self.run))
        if state.units is None or state.distance is None:
            raise Stuck(item, 4, "units and distance mode are not known before it", "add them to program.starts_in")

    def _rise_text(self, item: Item, state: State, want: float) -> tuple[str, Decimal]:
        self._can_write(item, state)
        self._check_rise(item, want)
        if isinstance(self.actual, Span) and self.actual.high < inf:
            want = max(want, self.actual.high)  # never lower than it may stand
        pen = self._pen(state)
        if pen.incremental and not known(self.actual):
            raise Stuck(item, 4, "under G91 no height can be written out of one that is not known",
                        ADVICE_RETURN if state.left else ADVICE_HIGH)
        text, reached = pen.rise(want, self.actual)
        if float(reached) > self.limits.ceiling:
            self._too_high(item, float(reached))
        return text, reached

    def _check_rise(self, item: Item, want: float) -> None:
        if want > self.limits.ceiling or want == inf:
            self._too_high(item, want)
        if lowest(self.actual) < self.limits.rise_from:
            stands = "stands in the material" if self.limits.rise_from < inf else \
                "may stand in the material (without [stock] that is not known)"
            raise Stuck(item, 3, f"its tool is wider below than above and {stands}, where it must not be raised",
                        self.limits.rise_advice)

    def _too_high(self, item: Item, want: float) -> None:
        gone_round = self.limits.way_round is not None and not item.whole
        none = ", and there is no way round" if gone_round else ""
        more = "" if gone_round else "; or go round it with G0 X Y in blocks before this one" if item.whole else \
            "; with [stock] and machine.reach given, a way round is looked for"
        if want == inf:
            raise Stuck(item, 3, f"the dust shoe stays with the gantry, no lift takes it over{none}",
                        f"move the obstacle{more}")
        height, ceiling = (told(z, self.limits.units) for told, z in ((length_up, want), (length, self.limits.ceiling)))
        top = f"the machine ends at {ceiling}"
        what = f"it needs a height of {height}, {top}{none}" if none else f"it needs a height of {height}, and {top}"
        raise Stuck(item, 3, what, f"lower or move the obstacle{more}")
