"""The interpreter: one block after the other, in the order of execution of NISTIR 6556, table 8.

It fails closed: a code that it does not follow, a word that no code of the block uses, a value that depends on what
the program did not set, is a refusal. After one, positions are not known and the rest is only read for codes.
"""

from __future__ import annotations

import copy
import re

from . import doubt, motion, settings
from .block import Block, Word, read_block
from .codes import ARCS, AXIS_USERS, CODES, CYCLES, FOLLOWED, PROBES, REFUSED, REFUSED_LETTERS, spell
from .context import Context
from .errors import NotUnderstood, Refusal
from .expression import FIRST_SYSTEM_PARAMETER, Value
from .moves import Step
from .state import Rules, State

MOST_M_WORDS = 4  # NISTIR 6556, section 3.4
ARGUMENTS = frozenset("PQRLDHIJKABCUVWEXYZ")


def first_state(rules: Rules) -> State:
    """What is in force before the first block."""
    state = State(position=rules.start, tool=rules.first_tool, corner=rules.corner_rounding, home=rules.home,
                  home2=rules.home2, offset=rules.bench, shifts=dict(rules.shifts))
    state.shifts.setdefault(rules.bench, settings.ZERO)
    state.shift = state.shifts[rules.bench]
    return state


class Interpreter:
    """Executes blocks one by one. `assumptions` collects what was taken for granted, by what it is about.

    Raises NotUnderstood where `starts_in` of the rules is not a state that a control can be in.
    """

    def __init__(self, rules: Rules) -> None:
        self.rules = rules
        self.state = first_state(rules)
        self.assumptions: dict[str, str] = {}
        self.complained: set[str] = set()
        self.opened = False
        self.begun = False
        self.closed_at: int | None = None
        self.over = False
        self.offsets_certain = True
        self._take_start(rules.starts_in)

    def _take_start(self, codes: tuple[str, ...]) -> None:
        """Puts the words of `starts_in` in force, as if they were the first block."""
        if not codes:
            return
        step = self.execute(0, (" ".join(codes) + "\n").encode("latin-1"))
        self.begun = False
        self.assumptions.clear()
        if step.refusals:
            raise NotUnderstood(f"program.starts_in: {step.refusals[0].what}", step.refusals[0].advice)
        for code in step.codes:
            if CODES[code].group in ("0", "M4", "M6", "call") or code in CYCLES | ARCS | PROBES:
                raise NotUnderstood(f"program.starts_in: {code} is not a state that a control can be in", "take it out")

    def execute(self, line: int, raw: bytes) -> Step:
        """Reads and executes one line. Never raises for what is written there: the step carries the refusals."""
        block = Block(line, raw, "", "")
        step = Step(block, self.state, self.state)
        if self.state.ended or self.over:
            step.skipped = True
            return step
        state = self.state.__copy__()
        try:
            step.block = block = read_block(line, raw, state.parameters)
            if self._passes(block, state, step):
                self._execute(block, state, step)
        except NotUnderstood as error:
            step.refusals.append(Refusal(line, error.what, error.advice))
            step.moves.clear()
            self.offsets_certain &= re.search(rb"G0*10(?!\d)", raw.upper().replace(b" ", b"")) is None
            state = copy.copy(self.state)
            state.lost = True
        if not self.state.lost or state.ended:
            self.state = state
        else:
            self.state = copy.copy(self.state)
            self.state.ended, self.state.selected = state.ended, state.selected
        step.after = self.state
        return step

    def _passes(self, block: Block, state: State, step: Step) -> bool:
        """Deals with percent signs, deleted and empty blocks; True where there is something to execute."""
        if block.percent:
            self._percent(step)
            return False
        if not block.words and not block.settings:
            if block.deleted:
                self._deleted(block, step)
            return False
        if self.closed_at is not None:
            raise NotUnderstood(f"the program goes on after the % on line {self.closed_at}, which nothing opened",
                                "put a % before the first block, or take this one out")
        self.begun = True
        return self._deleted(block, step) if block.deleted else True

    def _percent(self, step: Step) -> None:
        if self.opened:
            # The tape is over; unlike M2 and M30 that leaves in force what is in force.
            self.closed_at, self.over = step.block.line, True
        elif not self.begun:
            self.opened = True
        else:
            self.closed_at = step.block.line

    def _deleted(self, block: Block, step: Step) -> bool:
        if self.rules.block_delete is None:
            self._complain(step)(block.line, "block delete", "a block with / is run or skipped as a switch on the"
                                 " machine says", 'say block_delete = "run" or "skip" under [program] in the setup')
            self.state = copy.copy(self.state)
            self.state.lost = True
            return False
        step.skipped = self.rules.block_delete == "skip"
        return not step.skipped

    def _execute(self, block: Block, state: State, step: Step) -> None:
        context = Context(block, state, self.rules, step, self._assume, self._complain(step))
        groups = self._sort_words(context)
        step.codes = tuple(context.codes)
        step.frozen = state.compensation != "G40" or state.closing
        if state.lost:
            settings.still_certain(context, groups, self.offsets_certain)
            self.offsets_certain &= groups.get("0") != "G10"
            if groups.get("M4") in ("M2", "M30"):
                state.ended = True
            return
        self._carry_out(context, groups)
        if not state.lost:
            self._unused(context)
        if state.grow and state.compensation == "G40":
            settings.settle(context, groups)
        for name, value in block.settings:
            self._set_parameter(state, name, value)
        step.frozen = step.frozen or state.compensation != "G40" or state.closing
        if state.closing and state.compensation == "G40" and step.moves:
            state.closing = False

    def _assume(self, about: str, text: str) -> None:
        self.assumptions.setdefault(about, text)

    def _complain(self, step: Step):  # type: ignore[no-untyped-def]
        def complain(line: int, about: str, what: str, advice: str) -> None:
            if about not in self.complained:
                self.complained.add(about)
                step.refusals.append(Refusal(line, what, advice))
        return complain

    # Words and codes ------------------------------------------------------------------------------------------

    def _sort_words(self, context: Context) -> dict[str, str]:
        """The block's codes by modal group and its other words by letter, with the report's error cases (3.4)."""
        groups: dict[str, str] = {}
        harmless = False
        for position, word in enumerate(context.block.words):
            if word.letter in "GM":
                if self._is_harmless(word):
                    context.effect(spell(word.letter, word.value))
                    harmless = True
                else:
                    self._add_code(context, groups, word)
            elif word.letter == "N" and position:
                raise NotUnderstood("N stands behind other words", "line numbers stand first")
            elif word.letter in context.words:
                raise NotUnderstood(f"the block has two {word.letter} words", "put them on two lines")
            else:
                context.words[word.letter] = word
        if sum(w.letter == "M" for w in context.block.words) > MOST_M_WORDS:
            raise NotUnderstood("the block has more than four M words", "put them on two lines")
        if harmless:
            self._give_arguments(context, groups)
        for letter, what in REFUSED_LETTERS.items():
            if context.has(letter) and letter not in context.used and not (letter == "U" and "G4" in context.codes):
                raise NotUnderstood(f"{letter} moves {what}, which is not followed" if letter != "E"
                                    else "E words are not followed", "export for a machine with X, Y and Z alone")
        number = context.whole("N")
        if number is not None and not context.words["N"].pointless:
            raise NotUnderstood("N has a point", "line numbers are whole numbers")
        if context.has("O"):
            if len(context.words) > (1 if number is None else 2) or context.codes:
                raise NotUnderstood("an O word stands beside other words", "put it on a line of its own")
            context.whole("O")
        return groups

    def _is_harmless(self, word: Word) -> bool:
        name = spell(word.letter, word.value)
        return name in self.rules.harmless and (name not in CODES or CODES[name].status != FOLLOWED)

    def _give_arguments(self, context: Context, groups: dict[str, str]) -> None:
        """Words beside a harmless code are its own, but for a motion that the block itself states."""
        if "1" in groups or "0" in groups:
            context.used.update(ARGUMENTS - set("XYZIJKR"))
            return
        for letter in ARGUMENTS & set(context.words):
            context.used.add(letter)
            del context.words[letter]

    def _add_code(self, context: Context, groups: dict[str, str], word: Word) -> None:
        name = spell(word.letter, word.value)
        shown = name or f"{word.letter}{word.value}"
        if not word.literal:
            raise NotUnderstood(f"a {word.letter} code is given by an expression", "write the code as a number")
        code = CODES.get(name)
        if code is None:
            raise NotUnderstood(f"{shown} is not known", _advice_for(shown, word))
        if code.status == REFUSED:
            raise NotUnderstood(f"{shown} ({code.about}) is not followed", "export the program without it")
        if code.group in groups:
            raise NotUnderstood(f"{groups[code.group]} and {shown} stand in one block", "they exclude each other:"
                                " put them on two lines")
        groups[code.group] = name
        context.codes.append(name)

    def _unused(self, context: Context) -> None:
        for letter in context.words:
            if letter not in context.used:
                raise NotUnderstood(f"nothing in the block uses its {letter} word", "check the export")

    # The order of execution -----------------------------------------------------------------------------------

    def _carry_out(self, context: Context, groups: dict[str, str]) -> None:
        if "call" in groups:
            self._call(context, groups)
            return
        settings.feed(context, groups)
        zero = groups.get("0", "")
        pause = settings.dwell_time(context) if zero == "G4" else None
        settings.spindle_and_tool(context, groups)
        if pause is not None:
            context.effect(f"dwell {pause.normalize():f}")
        if "2" in groups:
            settings.plane(context, groups["2"])
        if "7" in groups:
            settings.compensation(context, groups["7"])
        if "8" in groups:
            settings.tool_length(context, groups["8"])
        if "12" in groups:
            settings.select_offset(context, groups["12"])
        if "13" in groups:
            settings.path_control(context, groups["13"])
        settings.distance(context, groups)
        if "10" in groups:
            context.state.retract, context.state.retract_said = groups["10"], True
        self._move(context, groups.get("1"), zero)
        doubt.settle(context)
        if "M4" in groups:
            self._stop(context, groups["M4"])

    def _move(self, context: Context, explicit: str | None, zero: str) -> None:
        """Steps 19 and 20: what uses the axis words of the block, and the motion."""
        state = context.state
        if explicit and zero in AXIS_USERS and explicit != "G80":
            raise NotUnderstood(f"{explicit} and {zero} both use axis words", "put them on two lines")
        if zero in ("G28", "G30"):
            self._alone_under_compensation(context, zero)
            motion.go_home(context, zero)
            context.axes_used_by = zero
        elif zero in ("G10", "G92", "G92.1", "G92.2", "G92.3", "G28.1", "G30.1"):
            self._alone_under_compensation(context, zero)
            if zero not in AXIS_USERS and (context.axes() or explicit not in (None, "G80")):
                raise NotUnderstood(f"{zero} stands beside a move", "put them on two lines")
            settings.offsets_data(context, zero)
            if zero in AXIS_USERS:
                context.axes_used_by = zero
        if explicit == "G80":
            state.motion, state.cycle = "G80", None
        code = explicit or state.motion
        if zero == "G53":
            if code not in ("G0", "G1"):
                raise NotUnderstood("G53 stands without G0 or G1 in force", "write G53 G0 ...")
            self._alone_under_compensation(context, zero)
            assert code is not None
            self._leave(state, code)
            motion.machine_move(context, code)
        elif context.axes_used_by is None and (
                context.axes() or (explicit and explicit not in ("G0", "G1", "G80"))
                or (code in ARCS and any(context.has(letter) for letter in "IJKR"))):
            self._motion(context, code)
        elif explicit in ("G0", "G1"):
            self._leave(state, explicit)

    def _alone_under_compensation(self, context: Context, code: str) -> None:
        if context.state.compensation != "G40":
            raise NotUnderstood(f"{code} under cutter compensation", "cancel it with G40 before")

    def _leave(self, state: State, code: str) -> None:
        state.motion = code
        state.cycle = None

    def _motion(self, context: Context, code: str | None) -> None:
        state = context.state
        if code is None:
            context.complain("motion", "bare coordinates, and nothing says how to move there",
                             'put G0 or G1 into the program, or into program.starts_in')
            state.lost = True
            return
        if code == "G80":
            raise NotUnderstood("bare coordinates after G80, which ended the motion", "put G0 or G1 before them")
        if code in PROBES and code not in context.codes:
            raise NotUnderstood("bare coordinates after a probe move", "put G0 or G1 before them")
        if code in CYCLES:
            motion.cycle(context, code)
            state.motion = code
            return
        self._leave(state, code)
        if code == "G0":
            motion.rapid(context)
        elif code == "G1":
            motion.straight(context)
        elif code in ARCS:
            motion.arc(context, code)
        else:
            self._alone_under_compensation(context, code)
            motion.probe(context)

    def _stop(self, context: Context, code: str) -> None:
        context.effect(code)
        if code in ("M2", "M30"):
            context.state.ended = True
        else:
            context.assume(f"line {context.block.line}", f"obstacles stay where they are at this stop ({code})")

    def _call(self, context: Context, groups: dict[str, str]) -> None:
        """M98 and M99: the driver makes the jump; here only what stands in the block is checked."""
        if len(groups) > 1:
            raise NotUnderstood(f"{groups['call']} stands beside other codes", "put it on a line of its own")
        context.effect(groups["call"])
        if not all(name.isdigit() for name in context.state.parameters):
            context.assume("named parameters", "a named parameter is taken to be one and the same in the main program"
                           " and in every subprogram")
        if groups["call"] == "M99":
            context.step.returns = True
            return
        number, repeats = context.whole("P"), context.whole("L")
        if number is None or number > 9999:
            raise NotUnderstood("M98 needs P, the number of a subprogram of at most four digits",
                                "write M98 P100 L2, the repeats as L")
        if repeats == 0 or (repeats or 1) > 10_000:
            raise NotUnderstood("M98 repeats a subprogram no times, or too often", "check L")
        context.step.call = (number, repeats or 1)

    def _set_parameter(self, state: State, name: str, value: Value) -> None:
        if name.isdigit() and int(name) >= FIRST_SYSTEM_PARAMETER:
            raise NotUnderstood(f"#{name} belongs to the control", "use parameters below #5000")
        state.parameters = {**state.parameters, name: value}


# Fields of the state, and the codes that a next program does not expect where `starts_in` says nothing of them.
UNUSUAL = {"distance": ("G91",), "units": (), "plane": ("G18", "G19"), "centres": ("G90.1",),
           "feed_mode": ("G93", "G95")}
IN_WORDS = {"G90": "absolute distances", "G91": "incremental distances", "G90.1": "absolute arc centres",
            "G91.1": "incremental arc centres"}


def left_behind(state: State, rules: Rules) -> list[str]:
    """What a program leaves in force that the next one may not expect: other than `starts_in` says, or unusual."""
    left = []
    for name, unusual in UNUSUAL.items():
        code = getattr(state, name)
        if code is None:
            continue
        said = [other for other in rules.starts_in if other in CODES and CODES[other].group == CODES[code].group]
        if code not in said if said else code in unusual:
            left.append(f"{IN_WORDS.get(code, name.replace('_', ' '))} ({code})")
    if state.extra != settings.ZERO:
        left.append("a shift of the coordinates (G92)")
    if state.compensation != "G40":
        left.append(f"cutter compensation ({state.compensation})")
    if state.offset != rules.bench:
        left.append(f"another work offset ({state.offset})")
    changed = [name for name, shift in state.shifts.items() if rules.shifts.get(name, settings.ZERO) != shift]
    if changed:
        left.append(f"work offsets that it set itself ({', '.join(changed)})")
    return left


def _advice_for(shown: str, word: Word) -> str:
    """What helps with an unknown code. Those of G below 100 are motion, planes and offsets on one control or another,
    and M codes are whole numbers: the setup takes no others as harmless."""
    if word.value >= (100 if word.letter == "G" else 0) and (word.letter == "G" or word.value == int(word.value)):
        return f'if it moves nothing on this machine, add "{shown}" to program.harmless'
    return "export the program without it"
