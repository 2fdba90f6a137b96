"""A second reader of the language, from the RS274/NGC report (NISTIR 6556) and the project's contract.

`read(program, options)` gives every motion and every other effect in the order in which the machine makes them, or
raises NotUnderstood. It is a referee: one plain step after the other, no speed, no code shared with the package.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from .plain_arcs import do_arc
from .plain_codes import TAKES_AXES, check_users, sort_codes
from .plain_cycles import CYCLES, do_cycle
from .plain_offsets import change_frame, go_home, go_in_machine_frame, store_home
from .plain_options import HIGH, Options
from .plain_state import DOUBTFUL, Effect, Move, State
from .plain_tape import Tape, read_tape
from .plain_words import Line, NotUnderstood, Reader, Words, clean_line

__all__ = ["Effect", "Move", "NotUnderstood", "Options", "Reading", "read"]

DEEPEST_CALL = 10
TAKES_NO_AXES = (4, 28.1, 30.1, 92.1, 92.2, 92.3)


class ProgramEnd(Exception):
    """M2 or M30 was executed."""


@dataclass
class Reading:
    """`sequence` is everything in order; `moves` and `effects` are its two kinds."""

    sequence: list[Move | Effect]
    state: State

    @property
    def moves(self) -> list[Move]:
        return [item for item in self.sequence if isinstance(item, Move) and item.start != item.end or is_turn(item)]

    @property
    def effects(self) -> list[Effect]:
        return [item for item in self.sequence if isinstance(item, Effect)]


def is_turn(item: Move | Effect) -> bool:
    return isinstance(item, Move) and item.centre is not None


def read(program: bytes, options: Options | None = None) -> Reading:
    """Run the whole program. Raises NotUnderstood(line, why)."""
    options = options or Options()
    tape = read_tape(program)
    state = State(options, tape.uses_g43, tape.uses_m6)
    state.position = list(options.start)
    state.offset = options.bench
    state.origins = {name: list(origin) for name, origin in options.origins.items()}
    state.homes = {28: options.home, 30: options.home2}
    state.tool = tool_at_start(tape, options)
    if options.starts_in:
        execute(state, tape, clean_line(0, " ".join(options.starts_in)), 0)
        state.sequence.clear()
    try:
        run(state, tape, tape.main, 0, [])
    except ProgramEnd:
        pass
    return Reading(state.sequence, state)


def tool_at_start(tape: Tape, options: Options) -> int | None:
    if options.tool is not None:
        return options.tool
    if tape.named_tools:
        return None if tape.uses_m6 else tape.named_tools[0]
    if options.tools is None:
        return None
    if len(options.tools) > 1:
        raise NotUnderstood(0, "several tools, and the program names none")
    return next(iter(options.tools))


def run(state: State, tape: Tape, lines: list[Line], depth: int, callers: list[int]) -> None:
    for line in lines:
        if line.code == "":
            continue
        if line.trouble is not None:
            raise line.trouble
        if line.slash:
            if state.options.block_delete is None:
                raise NotUnderstood(line.number, "a / block, and block_delete is not given")
            if state.options.block_delete == "skip":
                continue
        call = execute(state, tape, line, depth)
        if call is not None:
            number, count = call
            if number in callers or number not in tape.bodies or depth == DEEPEST_CALL:
                raise NotUnderstood(line.number, f"O{number} cannot be called here")
            for _ in range(count):
                run(state, tape, tape.bodies[number], depth + 1, [*callers, number])


def execute(state: State, tape: Tape, line: Line, depth: int) -> tuple[int, int] | None:
    """One block, in the order of Table 8. Gives the subprogram that it calls, and how often."""
    words = Reader(line, state.parameters).words()
    state.parameters.update(words.settings)
    if any(f"M{code}" in state.options.harmless for code in words.m):
        if len(words.m) > 1 or words.g:
            raise NotUnderstood(words.line, "a harmless code beside another")
        return None
    codes = sort_codes(words)
    check_whole_numbers(state, words)
    motion = motion_of(state, words, codes)
    check_users(words, codes, motion)
    feed_and_speed(state, words, codes)
    tool_and_switches(state, words, codes)
    dwell(state, words, codes)
    planes_and_units(state, words, codes)
    compensation(state, words, codes)
    tool_length(state, words, codes)
    select_offset(state, words, codes)
    path_and_distance(state, words, codes)
    non_modal(state, words, codes)
    move(state, words, codes, motion)
    return stop_or_call(state, words, codes, depth)


def check_whole_numbers(state: State, words: Words) -> None:
    lengths = set("XYZIJKRQ") & words.whole
    if state.options.integers == "least-increment" and lengths:
        raise NotUnderstood(words.line, "a length without a point")


def motion_of(state: State, words: Words, codes: dict[str, float]) -> float | None:
    """The motion that this block makes, None for none (section 3.5: how axis words find their code)."""
    moves = bool(state.axes_in(words))
    code = codes.get("motion")
    special = codes.get("non-modal")
    if special in TAKES_AXES:
        if code not in (None, 80):
            raise NotUnderstood(words.line, "two codes that use the axis words")
        return None
    if special == 4 and "X" in words.values:
        # G4 X is the dwell in seconds of many controls (common practice): no axis word, then.
        if code not in (None, 80):
            raise NotUnderstood(words.line, "G4 X beside a motion")
        return None
    if special in TAKES_NO_AXES and special != 4 and (moves or code not in (None, 80)):
        raise NotUnderstood(words.line, f"G{special:g} beside a motion")
    if special == 53 and (code if code is not None else state.motion) not in (0, 1):
        raise NotUnderstood(words.line, "G53 without G0 or G1")
    if code == 80:
        if moves:
            raise NotUnderstood(words.line, "axis words with G80")
        return None
    if code is not None:
        return code
    centre = state.motion in (2, 3) and any(letter in words.values for letter in "IJK")
    if not moves and not centre:
        return None
    if state.motion is None:
        raise NotUnderstood(words.line, "axis words without a motion code")
    return state.motion


def feed_and_speed(state: State, words: Words, codes: dict[str, float]) -> None:
    if "feed mode" in codes and codes["feed mode"] != state.feed_mode:
        state.feed_mode = int(codes["feed mode"])
        state.feed = None
    state.feed_here = "F" in words.values
    if state.feed_here:
        if words.values["F"] < 0:
            raise NotUnderstood(words.line, "a negative feed")
        set_feed(state, words, codes)
    if "S" in words.values:
        if words.values["S"] < 0:
            raise NotUnderstood(words.line, "a negative speed")
        state.effect(words, "speed", words.values["S"])
    if "T" in words.values:
        number = words.values["T"]
        if number != int(number) or number < 0:
            raise NotUnderstood(words.line, "a tool number that is not whole")
        state.selected = int(number)
        state.effect(words, "tool selected", state.selected)
        if not state.uses_m6 and state.options.tool is None:
            check_tool(state, words)
            state.tool = state.selected


def check_tool(state: State, words: Words) -> None:
    if state.options.tools is not None and state.selected not in state.options.tools:
        raise NotUnderstood(words.line, f"tool {state.selected} is not in the setup")


def set_feed(state: State, words: Words, codes: dict[str, float]) -> None:
    """F is read before the units of its own block; where these change, its meaning is in doubt."""
    units = {20: "inch", 21: "mm"}.get(int(codes["units"])) if "units" in codes else state.units
    value = words.values["F"]
    if state.feed_mode == 93:
        state.feed = float(value)
    elif units is None or (state.units is not None and units != state.units):
        state.feed = DOUBTFUL
    else:
        state.feed = float(value * (Fraction(127, 5) if units == "inch" else 1))


def tool_and_switches(state: State, words: Words, codes: dict[str, float]) -> None:
    if "M tool change" in codes:
        if state.selected is None or state.compensation:
            raise NotUnderstood(words.line, "M6 without a tool, or under compensation")
        check_tool(state, words)
        state.effect(words, "tool change", state.selected)
        state.tool = state.selected
        state.length_known_no_more = True
        # Section 3.6.3: when the tool has been changed, the spindle stands still.
        state.spindle = 5
        state.tip_unknown = state.uses_g43
        after = state.options.after_tool_change
        if after == "same":
            state.position[2] = None
        else:
            state.position = [None, None, HIGH if after == "high" else None]
    for group, name in (("M spindle", "spindle"), ("M coolant", "coolant"), ("M overrides", "overrides")):
        if group in codes:
            state.effect(words, name, int(codes[group]))
            if name == "spindle":
                state.spindle = int(codes[group])


def dwell(state: State, words: Words, codes: dict[str, float]) -> None:
    if codes.get("non-modal") == 4:
        times = [words.values[letter] for letter in "PX" if letter in words.values]
        if len(times) != 1 or times[0] < 0 or len(state.axes_in(words)) > ("X" in words.values):
            raise NotUnderstood(words.line, "G4 needs one time, not negative")
        state.effect(words, "dwell", times[0])


def planes_and_units(state: State, words: Words, codes: dict[str, float]) -> None:
    if "plane" in codes:
        if state.compensation and codes["plane"] != state.plane:
            raise NotUnderstood(words.line, "another plane under compensation")
        state.plane = int(codes["plane"])
    if "units" in codes:
        units = "inch" if codes["units"] == 20 else "mm"
        if units != state.units:
            if state.compensation:
                raise NotUnderstood(words.line, "other units under compensation")
            if not state.feed_here and state.feed_mode != 93:
                state.feed = None
        state.units = units


def compensation(state: State, words: Words, codes: dict[str, float]) -> None:
    code = codes.get("compensation")
    if code is None:
        return
    if code == 40:
        if state.compensation:
            state.effect(words, "compensation", code)
            state.ending_compensation = True
        state.compensation = False
        return
    if state.plane != 17 or state.compensation:
        raise NotUnderstood(words.line, "compensation outside G17, or a second time")
    strange = "D" in words.values and words.values["D"] != state.tool
    if strange and code in (41, 42) and state.options.tools is not None:
        raise NotUnderstood(words.line, "D is not the tool's number")
    state.compensation = True
    state.effect(words, "compensation", code)


def tool_length(state: State, words: Words, codes: dict[str, float]) -> None:
    code = codes.get("tool length")
    if code == 43:
        without_setup = state.options.tools is None
        if "H" not in words.values or (words.values["H"] != state.tool and not without_setup):
            raise NotUnderstood(words.line, "G43 without the H of the tool")
        state.effect(words, "tool length", 43)
        state.tip_unknown = False
        state.length_known_no_more = True
    elif code == 49:
        state.effect(words, "tool length", 49)
        if state.uses_g43:
            state.tip_unknown = True
            if state.length_known_no_more and state.position[2] != HIGH:
                state.position[2] = None


def select_offset(state: State, words: Words, codes: dict[str, float]) -> None:
    if "offset" in codes:
        name = f"G{codes['offset']:g}"
        if name not in state.origins:
            raise NotUnderstood(words.line, f"the setup does not give {name}")
        if state.compensation and name != state.offset:
            raise NotUnderstood(words.line, "another offset under compensation")
        state.offset = name
        state.effect(words, "offset", name)


def path_and_distance(state: State, words: Words, codes: dict[str, float]) -> None:
    if "path" in codes:
        if codes["path"] != 64:
            state.rounding = 0.0
        else:
            state.rounding = float(state.length(words, "P")) if "P" in words.values else None
        state.effect(words, "path", (codes["path"], state.rounding))
    if "distance" in codes:
        state.incremental = codes["distance"] == 91
    if "centres" in codes:
        state.centres_absolute = codes["centres"] == 90.1
    if "retract" in codes:
        state.retract_to_r = codes["retract"] == 99


def non_modal(state: State, words: Words, codes: dict[str, float]) -> None:
    code = codes.get("non-modal")
    if code in (28, 30):
        if state.compensation:
            raise NotUnderstood(words.line, "homing under compensation")
        go_home(state, words, int(code))
    elif code in (28.1, 30.1):
        store_home(state, words, int(code))
    elif code in (10, 92, 92.1, 92.2, 92.3):
        if state.compensation:
            raise NotUnderstood(words.line, "a frame that changes under compensation")
        change_frame(state, words, code)


def move(state: State, words: Words, codes: dict[str, float], motion: float | None) -> None:
    if codes.get("motion") == 80:
        state.motion = None
    if motion is None:
        return
    before = len(state.sequence)
    if codes.get("non-modal") == 53:
        if state.compensation or not state.axes_in(words):
            raise NotUnderstood(words.line, "G53 without axis words, or under compensation")
        go_in_machine_frame(state, words, "rapid" if motion == 0 else "cut")
    elif motion in (0, 1):
        # The report asks for axis words; G0 or G1 alone sets the mode (common practice).
        if state.axes_in(words):
            state.go(words, "rapid" if motion == 0 else "cut", state.target(words))
    elif motion in (2, 3):
        do_arc(state, words, motion == 2)
    elif motion in CYCLES:
        do_cycle(state, words, int(motion))
    else:
        probe(state, words)
    state.motion = motion
    mark_compensation(state, before)


def mark_compensation(state: State, before: int) -> None:
    """The first move after G40 still belongs to the compensated stretch."""
    if len(state.sequence) > before:
        state.ending_compensation = False


def probe(state: State, words: Words) -> None:
    """G38: the motion may end anywhere on its way (section 3.5.9)."""
    if not state.axes_in(words) or state.compensation or state.feed_mode == 93:
        raise NotUnderstood(words.line, "a probe without axis words, in G93 or under compensation")
    start, end = list(state.position), state.target(words)
    if start == end or any(value is None for value in end):
        raise NotUnderstood(words.line, "a probe that goes nowhere")
    state.go(words, "probe", end)
    for axis in range(3):
        if start[axis] != end[axis]:
            state.position[axis] = None


def stop_or_call(state: State, words: Words, codes: dict[str, float], depth: int) -> tuple[int, int] | None:
    stop = codes.get("M stop")
    subprogram = codes.get("M subprogram")
    if stop is not None:
        state.effect(words, "stop" if stop in (0, 1) else "end", int(stop))
        if stop in (2, 30):
            raise ProgramEnd
    if subprogram == 98:
        if "P" not in words.values or words.g or state.axes_in(words):
            raise NotUnderstood(words.line, "M98 needs P, and stands alone")
        number, count = words.values["P"], words.values.get("L", Fraction(1))
        if number != int(number) or count != int(count) or count < 1:
            raise NotUnderstood(words.line, "M98 with a P or L that is not whole")
        return int(number), int(count)
    if subprogram == 99 and (depth == 0 or words.values):
        raise NotUnderstood(words.line, "M99 outside a subprogram")
    return None
