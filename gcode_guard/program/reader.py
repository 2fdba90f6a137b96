"""From lines to steps: the interpreter over a whole program, its subprograms included.

A program without M98 streams through. One with calls is held as lines, since its bodies may stand anywhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from .block import read_block
from .errors import NotUnderstood, Refusal
from .interpreter import Interpreter
from .moves import Step
from .scan import Facts
from .state import Rules

DEEPEST = 10  # levels of calls within calls
MOST_STEPS = 5_000_000  # blocks that calls may unroll to


class Reader:
    """Iterates over the steps of a program in the order in which the machine makes them.

    After the iteration `interpreter` holds the state that the program leaves and what was assumed.
    """

    def __init__(self, lines: Iterable[bytes], rules: Rules, facts: Facts) -> None:
        self.interpreter = Interpreter(rules)
        self._lines = lines
        self._facts = facts
        self._bodies: dict[int, tuple[int, int]] = {}
        self._held: list[bytes] = []
        self._count = 0

    def __iter__(self) -> Iterator[Step]:
        if not self._facts.calls:
            for number, raw in enumerate(self._lines, 1):
                step = self.interpreter.execute(number, raw)
                if step.call or step.returns:
                    _refuse(step, "M99 ends a subprogram, and none was called", "end the program with M30 or M2")
                    self.interpreter.state.lost = True
                yield step
            return
        self._held = list(self._lines)
        main = self._find_bodies()
        yield from self._run(main, 0, ())

    def _find_bodies(self) -> tuple[int, int]:
        """Splits the lines at O words: parts that end with M99 are bodies, the first other part is the program."""
        starts: list[tuple[int | None, int]] = []
        for place, raw in enumerate(self._held):
            number = _program_number(raw)
            if number is not None:
                starts.append((number, place))
        if not starts or any(_has_words(raw) for raw in self._held[: starts[0][1]]):
            starts.insert(0, (None, 0))
        main: tuple[int, int] | None = None
        for k, (number, place) in enumerate(starts):
            end = starts[k + 1][1] if k + 1 < len(starts) else len(self._held)
            returned = next((j for j in range(place, end) if _is_return(self._held[j])), None)
            if returned is None or number is None:
                if main is None:
                    main = (0 if k == 0 else place, end)
            elif number in self._bodies:
                self._bodies[number] = (-1, -1)
            else:
                self._bodies[number] = (place + 1, returned + 1)
        return main or (0, len(self._held))

    def _run(self, part: tuple[int, int], depth: int, chain: tuple[int, ...]) -> Iterator[Step]:
        for place in range(*part):
            step = self.interpreter.execute(place + 1, self._held[place])
            self._count += 1
            if self._count > MOST_STEPS:
                _refuse(step, "the calls of subprograms unroll to too many blocks", "check the repeats")
                self.interpreter.state.ended = True
            if step.returns and depth == 0:
                _refuse(step, "M99 ends a subprogram, and none was called", "end the program with M30 or M2")
                self.interpreter.state.lost = True
            problem = self._problem(step, chain)
            if problem:
                _refuse(step, *problem)
                self.interpreter.state.lost = True
            yield step
            if step.call and not problem and not self.interpreter.state.lost:
                number, repeats = step.call
                for _ in range(repeats):
                    if not self.interpreter.state.ended:
                        yield from self._run(self._bodies[number], depth + 1, (*chain, number))
            if step.returns and depth:
                return

    def _problem(self, step: Step, chain: tuple[int, ...]) -> tuple[str, str] | None:
        if step.call is None:
            return None
        number = step.call[0]
        if number not in self._bodies:
            return f"M98 P{number} calls a subprogram that is not in the file", "put its body into the file"
        if self._bodies[number][0] < 0:
            return f"subprogram O{number} is there twice", "give each body a number of its own"
        if number in chain:
            return f"subprogram O{number} calls itself", "export without recursion"
        if len(chain) >= DEEPEST:
            return f"subprograms are called more than {DEEPEST} levels deep", "export with fewer levels"
        return None


def _refuse(step: Step, what: str, advice: str) -> None:
    step.refusals.append(Refusal(step.block.line, what, advice))


def _words(raw: bytes) -> list[tuple[str, int]]:
    try:
        return [(w.letter, int(w.value)) for w in read_block(0, raw, {}).words]
    except NotUnderstood:
        return []


def _has_words(raw: bytes) -> bool:
    return bool(_words(raw))


def _program_number(raw: bytes) -> int | None:
    if b"O" not in raw and b"o" not in raw:
        return None
    return next((value for letter, value in _words(raw) if letter == "O"), None)


def _is_return(raw: bytes) -> bool:
    return ("M", 99) in _words(raw) if b"9" in raw else False
