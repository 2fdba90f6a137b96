"""From lines to steps: the interpreter over a whole program, its subprograms included.

A program without M98 streams through. One with calls is held as lines, since its bodies may stand anywhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from .bodies import Part, Parts, parts_of
from .errors import Refusal
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
        self._parts: Parts
        self._held: list[bytes] = []
        self._count = 0

    def __iter__(self) -> Iterator[Step]:
        if not self._facts.calls:
            for number, raw in enumerate(self._lines, 1):
                yield alone(self.interpreter.execute(number, raw), self.interpreter)
            return
        self._held = list(self._lines)
        self._parts = parts_of(self._held)
        main = self._parts.main
        if self._parts.either is not None:
            yield self._in_doubt(self._parts.either)
        yield from self._run(main.begin, main.end, 0, ())
        if self._parts.reads_on is not None and not self.interpreter.state.ended:
            step = self.interpreter.execute(self._parts.reads_on + 1, b"")
            _refuse(step, "the main program runs on into what stands behind it", "end it with M30 or M2")
            yield step

    def _run(self, begin: int, end: int, depth: int, chain: tuple[int, ...]) -> Iterator[Step]:
        for place in range(begin, end):
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
                body = self._parts.bodies[number]
                for _ in range(repeats):
                    # Once something was not understood, another round says nothing new.
                    if not (self.interpreter.state.ended or self.interpreter.state.lost):
                        yield from self._run(body.begin + 1, body.end, depth + 1, (*chain, number))
            if step.returns and depth:
                return

    def _in_doubt(self, body: Part) -> Step:
        step = self.interpreter.execute(body.begin + 1, b"")
        _refuse(step, f"O{body.number} may be the main program, which it ends, or a subprogram before it",
                "put the main program first, and end subprograms with M99 alone")
        return step

    def _problem(self, step: Step, chain: tuple[int, ...]) -> tuple[str, str] | None:
        if step.call is None:
            return None
        number = step.call[0]
        body = self._parts.bodies.get(number)
        if body is None:
            return f"M98 P{number} calls a subprogram that is not in the file", "put its body into the file"
        if body.trouble is not None:
            return body.trouble
        if number in chain:
            return f"subprogram O{number} calls itself", "export without recursion"
        if len(chain) >= DEEPEST:
            return f"subprograms are called more than {DEEPEST} levels deep", "export with fewer levels"
        return None


def alone(step: Step, interpreter: Interpreter) -> Step:
    """A step of a program that calls nothing: M99 has nowhere to return to."""
    if step.call or step.returns:
        _refuse(step, "M99 ends a subprogram, and none was called", "end the program with M30 or M2")
        interpreter.state.lost = True
    return step


def _refuse(step: Step, what: str, advice: str) -> None:
    step.refusals.append(Refusal(step.block.line, what, advice))
