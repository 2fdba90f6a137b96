"""Everything but motion that a block does, each in its place of the order of execution (NISTIR 6556, table 8)."""

from __future__ import annotations

from decimal import Decimal

from ..lengths import length
from .codes import CYCLES, OFFSETS, PROBES
from .context import ADVICE_START, Context
from .errors import NotUnderstood
from .state import ANY_TOOL, ANYWHERE, HIGH, NO_TOOL, Coordinate, Span

ZERO = (Decimal(0), Decimal(0), Decimal(0))


def feed(context: Context, codes: dict[str, str]) -> None:
    """Steps 2 and 3: feed mode and feed. An F beside a change of units is read in the new ones."""
    state = context.state
    mode = codes.get("5")
    if mode:
        if mode != state.feed_mode:
            state.feed = None
        state.feed_mode, state.feed_mode_said = mode, True
    units = codes.get("6")
    if units and units != state.units:
        state.feed = None
        _leave_cycle(context, "units change")
        if state.compensation != "G40":
            raise NotUnderstood("units change under cutter compensation", "cancel it with G40 before")
    if units:
        state.units = units
    value = context.number("F")
    if value is None:
        return
    if value < 0:
        raise NotUnderstood(f"F{value} is negative", "check the export")
    if state.units is None and state.feed_mode != "G93":
        state.feed = None
        return
    state.feed = value if state.feed_mode == "G93" else value * state.scale()


def spindle_and_tool(context: Context, codes: dict[str, str]) -> None:
    """Steps 4 to 9: S, T, M6, spindle, coolant, overrides."""
    speed = context.number("S")
    if speed is not None:
        if speed < 0:
            raise NotUnderstood(f"S{speed} is negative", "check the export")
        context.effect(f"S{speed.normalize():f}")
    selected = context.whole("T")
    if selected is not None:
        context.state.selected = selected
        context.effect(f"T{selected}")
    if "M6" in codes:
        change_tool(context)
    context.state.spindle = codes.get("M7", context.state.spindle)
    for group in ("M7", "M8", "M9", "14"):
        if group in codes:
            context.effect(codes[group])
    if "14" in codes:
        context.used.update("DR")


def still_certain(context: Context, codes: dict[str, str], offsets: bool) -> None:
    """Reasons that hold even where an earlier block was not understood: a tool that the setup lacks, G43 without H,
    with `offsets`, a work offset that neither the setup nor the program gives, and words that a straight motion has no
    use for. Nothing else is certain there."""
    selected = context.whole("T")
    if selected is not None:
        context.state.selected = selected
    if "M6" in codes and context.state.selected is not None:
        _in_the_spindle(context)
    if codes.get("8") == "G43" and not context.has("H"):
        raise NotUnderstood("G43 without H", "give H with the tool's number")
    if offsets and "12" in codes and codes["12"] not in context.state.shifts:
        _not_given(context, codes["12"])
    if codes.get("1") in ("G0", "G1", "G38.2") and not {"0", "13", "call"} & set(codes):
        for letter in "IJKLPQR":
            if context.has(letter) and letter not in context.used:
                raise NotUnderstood(f"nothing in the block uses its {letter} word", "check the export")


def _in_the_spindle(context: Context) -> int:
    """The tool that a change brings; NO_TOOL, and a reason, where there is none or the setup lacks it."""
    selected, tools = context.state.selected, context.rules.tools
    if selected is None:
        context.complain("no tool", "M6 changes to a tool that no T word has named", "write T and its number before M6")
        return NO_TOOL
    if tools is not None and selected not in tools:
        context.complain(f"tool {selected}", f"tool {selected} is not in the setup",
                         f"add a [[tools]] entry with number = {selected}")
        return NO_TOOL
    return selected


def _not_given(context: Context, code: str) -> None:
    bench = context.rules.bench
    key = f'offsets."{code}"' if "." in code else f"offsets.{code}"
    context.complain(code, f"the work offset {code} is not in the setup",
                     f"add {key}" + ("" if code == bench else f" (and offsets.{bench})"))


def change_tool(context: Context) -> None:
    """M6: where the tool is afterwards is what `machine.after_tool_change` says."""
    state, rules = context.state, context.rules
    if state.compensation != "G40":
        raise NotUnderstood("a tool change under cutter compensation", "cancel it with G40 before")
    context.effect("M6")
    state.tool = _in_the_spindle(context)
    x, y, _ = state.position
    state.position = {"unknown": (ANYWHERE, ANYWHERE, ANYWHERE), "high": (ANYWHERE, ANYWHERE, HIGH)}.get(
        rules.after_tool_change, (x, y, ANYWHERE))
    _leave_cycle(context, "tool changes")
    state.spindle = "M5"  # a tool change stops it: NISTIR 6556, section 3.6.3
    if rules.after_tool_change != "same":
        state.beside = frozenset()
    state.changed_tool = True
    state.length_on = False
    state.length_known = not rules.uses_length
    context.assume(f"line {context.block.line}", "obstacles stay where they are at this tool change")


def dwell_time(context: Context) -> Decimal:
    """G4 with P, or in the forms X, U and S of other practice; it never moves an axis. Beside P, S is a speed."""
    given = [letter for letter in ("PXU" if context.has("P") else "XUS") if letter in context.words]
    value = context.number(given[0]) if len(given) == 1 else None
    if value is None or value < 0:
        raise NotUnderstood("G4 needs one time, not negative", "write G4 P and the seconds")
    if given == ["S"]:
        del context.words["S"]  # no speed here
    context.axes_used_by = "G4"
    return value


def plane(context: Context, code: str) -> None:
    """Step 11."""
    if code != context.state.plane:
        _leave_cycle(context, "plane changes")
        if context.state.compensation != "G40":
            raise NotUnderstood("the plane changes under cutter compensation", "cancel it with G40 before")
    context.state.plane = code


def _leave_cycle(context: Context, what: str) -> None:
    """The sticky words of a cycle mean something else once units, plane or distance mode change."""
    if context.state.motion in CYCLES:
        context.state.stale = what


def compensation(context: Context, code: str) -> None:
    """Step 13: cutter radius compensation (section 3.5.10). The path is known to the tool's radius only."""
    state, rules = context.state, context.rules
    if code == "G40":
        if state.compensation != "G40":
            context.effect("G40")
            state.closing = True
            # The tool still stands beside the path: where, shows with the next absolute X and Y.
            state.beside = frozenset((0, 1))
            state.compensation = "G40"
        return
    if state.compensation != "G40":
        raise NotUnderstood("cutter compensation is switched on while it is on", "cancel it with G40 before")
    if context.need_plane() != "G17":
        raise NotUnderstood(f"{code} outside the plane XY", "use cutter compensation in G17 alone")
    context.effect(code)
    state.compensation = code
    state.closing = False
    before = state.grow if state.beside else 0.0
    state.beside = frozenset()
    state.grow = max(before, float(_compensated_radius(context, code, rules.tools is not None)))


def settle(context: Context, codes: dict[str, str]) -> None:
    """After G40 the tool stands beside the path in each axis until a block gives that axis absolutely."""
    state, zero = context.state, codes.get("0")
    given: set[int] = set()
    if zero in ("G28", "G30"):
        given = set(context.axes() or (0, 1))
    elif context.axes_used_by is None and (state.distance == "G90" or zero == "G53"):
        given = set(context.axes())
        if state.beside & given and not any(m.start[:2] != m.end[:2] for m in context.step.moves):
            raise NotUnderstood("the first X and Y after cutter compensation name the place where the path ended, and"
                                " the tool stands beside it", "lead it away from the path")
    state.beside -= given
    if not state.beside:
        state.grow = 0.0


def _compensated_radius(context: Context, code: str, with_setup: bool) -> Decimal:
    state, tools = context.state, context.rules.tools or {}
    given = context.number("D")
    if code.endswith(".1"):
        if given is None or given < 0:
            raise NotUnderstood(f"{code} needs D, the cutter's diameter", "give D")
        context.need_units()
        return given * state.scale() / 2
    if not with_setup:
        return Decimal(0)
    if state.tool == ANY_TOOL:
        return max(facts.radius for facts in tools.values())
    if given is not None and given != 0 and given != state.tool:
        raise NotUnderstood(f"{code} D{given} is not the tool in the spindle ({state.tool})", "check D")
    return tools[state.tool].radius if state.tool in tools else Decimal(0)


def tool_length(context: Context, code: str) -> None:
    """Step 14: G43 H and G49. What is not known of the tip's height is as the contract of the setup says."""
    state, rules = context.state, context.rules
    number = context.whole("H")
    if code == "G49":
        if number:
            raise NotUnderstood(f"G49 with H{number}", "leave H out")
        if rules.uses_length:
            context.effect("G49")
            _leave_cycle(context, "tool length offset changes")
            if (state.changed_tool or state.length_on) and state.position[2] != HIGH:
                state.position = (state.position[0], state.position[1], ANYWHERE)
            state.length_known = False
        state.length_on = False
        return
    if number is None:
        raise NotUnderstood("G43 without H", "give H with the tool's number")
    context.effect(f"G43 H{number}")
    _leave_cycle(context, "tool length offset changes")
    tool = state.tool
    if rules.tools is not None and tool == ANY_TOOL:
        context.complain("length", "G43 before the program says which tool is in the spindle",
                         "start the program with T and M6, or call with --tool")
    elif rules.tools is not None and tool != NO_TOOL and number != tool:
        context.complain(f"H{number}", f"G43 H{number}, but tool {tool} is in the spindle",
                         f"use H{tool}, or change the tool before")
    state.length_on = state.length_known = True


def select_offset(context: Context, code: str) -> None:
    """Step 15: G54 to G59.3. Obstacles stay on the table; the program's zero moves."""
    state = context.state
    if state.compensation != "G40":
        raise NotUnderstood("the work offset changes under cutter compensation", "cancel it with G40 before")
    context.effect(code)
    shift = state.shifts.get(code)
    if shift is None:
        _not_given(context, code)
        state.lost = True
        return
    if shift != state.shift:
        _leave_cycle(context, "work offset changes")
    state.offset, state.shift = code, shift


def path_control(context: Context, code: str) -> None:
    """Step 16: G61, G61.1 and G64; a stated tolerance is the corner rounding in force."""
    state = context.state
    context.effect(code)
    state.path = code
    if code != "G64":
        state.corner = 0.0
        return
    tolerance = context.length("P")
    if tolerance is not None:
        if tolerance < 0:
            raise NotUnderstood("G64 with a negative P", "check P")
        state.corner = float(tolerance)
        return
    state.corner = context.rules.corner_rounding
    if not context.rules.corner_rounding_given:
        context.assume("path blending", f"G64 without a tolerance is taken to cut corners by no more than"
                       f" {length(state.corner, context.rules.units)}")


def distance(context: Context, codes: dict[str, str]) -> None:
    """Step 17, and the distance mode of arc centres."""
    state = context.state
    if "3" in codes:
        if state.distance is not None and codes["3"] != state.distance:
            _leave_cycle(context, "distance mode changes")
        state.distance = codes["3"]
    if "4" in codes:
        state.centres, state.centres_said = codes["4"], True


def offsets_data(context: Context, code: str) -> None:
    """Step 19: G10, G92 to G92.3, G28.1 and G30.1."""
    state = context.state
    if code not in ("G28.1", "G30.1"):
        _leave_cycle(context, "zero of the program changes")
    if code == "G10":
        set_offset(context)
    elif code == "G92":
        _shift_here(context)
    elif code in ("G92.1", "G92.2"):
        context.effect(code)
        state.extra = ZERO
        if code == "G92.1":
            state.saved_extra = ZERO
    elif code == "G92.3":
        if state.saved_extra is None:
            raise NotUnderstood("G92.3 restores a shift that the program did not set", "set it with G92")
        context.effect(code)
        state.extra = state.saved_extra
    else:
        if state.beside:
            raise NotUnderstood(f"{code} right after cutter compensation, while the tool still stands beside its path",
                                "move to an absolute X and Y before")
        context.effect(code)
        if code == "G28.1":
            state.home, state.home_made = state.position, state.tool
        else:
            state.home2, state.home2_made = state.position, state.tool


def _here(context: Context, axis: int, code: str) -> Decimal:
    here: Coordinate = context.state.position[axis]
    if axis in context.state.beside:
        raise NotUnderstood(f"{code} sets {'XYZ'[axis]} right after cutter compensation, while the tool still stands"
                            " beside its path", "move to an absolute X and Y before")
    if isinstance(here, Span) or (axis == 2 and not context.state.length_known):
        raise NotUnderstood(f"{code} sets {'XYZ'[axis]} where the tool is not known to be",
                            "set a zero that is probed in a program of its own, before this one"
                            if context.state.motion in PROBES else ADVICE_START)
    return here


def _shift_here(context: Context) -> None:
    state = context.state
    if not context.axes():
        raise NotUnderstood("G92 has no axis words", "give X, Y or Z, or use G92.1 to cancel")
    extra, said = list(state.extra), []
    for axis in context.axes():
        length = context.length("XYZ"[axis])
        assert length is not None
        extra[axis] = _here(context, axis, "G92") - state.shift[axis] - length
        said.append(f"{'XYZ'[axis]}{length.normalize():f}")
    context.effect("G92 " + " ".join(said))
    state.extra = state.saved_extra = (extra[0], extra[1], extra[2])


def _certain_height(context: Context) -> None:
    """A machine height is one for the spindle: without tool length offsets each tool's tip hangs elsewhere at it."""
    drops = {facts.drop or 0 for facts in (context.rules.tools or {}).values()}
    if len(drops) > 1 and not context.rules.uses_length:
        raise NotUnderstood("G10 L2 sets a height of the machine's, and the tools of the setup hang differently low",
                            "use tool length offsets (G43), or set Z with G10 L20 where the tip stands")


def set_offset(context: Context) -> None:
    """G10 L2 (an origin in machine coordinates) and G10 L20 (this position gets these coordinates)."""
    state, rules = context.state, context.rules
    kind, number = context.whole("L"), context.whole("P")
    if kind not in (2, 20):
        raise NotUnderstood("G10 without L" if kind is None else f"G10 L{kind} is not followed",
                            "write G10 L2 or L20; set tool data at the machine, not in the program")
    if number is None or not (0 if kind == 20 else 1) <= number <= 9:
        raise NotUnderstood("G10 needs P, the number of a work offset from 1 to 9", "give P")
    if context.has("R"):
        raise NotUnderstood("G10 with R turns the coordinates, which is not followed", "leave R out")
    if state.distance == "G91" and kind == 2:
        raise NotUnderstood("G10 L2 under G91 is read differently by different controls", "write it under G90")
    name = state.offset if number == 0 else OFFSETS[number - 1]
    shift = list(state.shifts.get(name, (None, None, None)))
    if kind == 2 and rules.zero is None and context.axes():
        raise NotUnderstood("G10 L2 sets an offset in machine coordinates, and the setup does not say where the"
                            " machine's zero lies", "add machine.zero to the setup")
    for axis in context.axes():
        length = context.length("XYZ"[axis])
        assert length is not None
        if kind == 2:
            assert rules.zero is not None
            if axis == 2:
                _certain_height(context)
            shift[axis] = rules.zero[axis] + length
        else:
            shift[axis] = _here(context, axis, "G10 L20") - state.extra[axis] - length
    if any(value is None for value in shift):
        raise NotUnderstood(f"G10 sets a part of {name}, and the setup does not give the rest",
                            f"add offsets.{name} (and offsets.{rules.bench})")
    context.effect(f"G10 L{kind} {name}")
    made = (shift[0], shift[1], shift[2])
    state.shifts = {**state.shifts, name: made}  # type: ignore[dict-item]
    if name == state.offset:
        state.shift = made  # type: ignore[assignment]

