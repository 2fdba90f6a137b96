"""Thins a backdrop of many moves to lines that a page can hold, and keeps account of what that costs.

Chains of moves are simplified (Douglas and Peucker, through shapely) to within a tolerance, snapped to a grid, and a
piece that is already drawn is not drawn again. Where that is still too much, the tolerance is doubled; where even a
coarse one does not help, whole moves are left out and counted.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Cell = tuple[int, int]

FINEST = 0.02  # mm, the first tolerance: nobody sees it, and a program of ordinary size needs no other
COST = 1.0 + 0.7072  # how many steps a line may be off after simplifying by one and snapping to half of one in X and Y
LONGEST_CHAIN = 4000  # points that are simplified together


class Thinner:
    """Takes moves in order, gives polylines.

    `budget`: the most straight pieces that may be kept. `coarsest`: mm, beyond which tolerance lines would no longer
    look like the program. Memory: the budget, and one chain.
    """

    def __init__(self, budget: int, coarsest: float) -> None:
        self.step = FINEST
        self.off_by = COST * FINEST
        self._coarsest = coarsest
        self._budget = budget
        self._chain: list[tuple[float, float]] = []
        self._pieces: dict[tuple[Cell, Cell], None] = {}
        self._moves = 0  # in the chain
        self.count = 0
        self.left_out = 0

    def add(self, points: Sequence[tuple[float, float]], moves: int = 1) -> None:
        """Takes the path of one move, or of several that hang together, as its points seen from above."""
        self.count += moves
        if len(points) < 2:
            return
        if self._chain and (self._chain[-1] != points[0] or len(self._chain) > LONGEST_CHAIN):
            self._flush()
        self._chain.extend(points if not self._chain else points[1:])
        self._moves += moves

    def _flush(self) -> None:
        chain, self._chain = self._chain, []
        moves, self._moves = self._moves, 0
        if len(chain) < 2:
            return
        while len(self._pieces) >= self._budget and 2 * self.step <= self._coarsest:
            self._coarsen()
        full = len(self._pieces) >= self._budget
        for piece in self._simplified(np.array(chain)):
            if full and piece not in self._pieces:
                self.left_out += moves
                return
            self._pieces.setdefault(piece)

    def _simplified(self, chain: Floats) -> list[tuple[Cell, Cell]]:
        import shapely

        if len(chain) > 2:
            chain = shapely.get_coordinates(shapely.simplify(shapely.LineString(chain), self.step,
                                                             preserve_topology=False))
        cells = np.rint(chain / self.step).astype(np.int64)
        moving = (cells[1:] != cells[:-1]).any(axis=1)
        if not moving.any():
            x, y = int(cells[0, 0]), int(cells[0, 1])
            return [((x, y), (x, y))]
        pairs = np.concatenate([cells[:-1], cells[1:]], axis=1)[moving].tolist()
        # One way or the other, a line looks the same.
        return [((a, b), (c, d)) if (a, b) <= (c, d) else ((c, d), (a, b)) for a, b, c, d in pairs]

    def _coarsen(self) -> None:
        chains = _joined(list(self._pieces))
        step = self.step
        self.step *= 2
        self.off_by += COST * self.step
        self._pieces = {}
        for chain in chains:
            for piece in self._simplified(np.array(chain, dtype=np.float64) * step):
                self._pieces.setdefault(piece)

    def polylines(self) -> list[list[tuple[float, float]]]:
        """Everything kept, as polylines in mm; asked for once, at the end."""
        self._flush()
        return [[(round(x * self.step, 3), round(y * self.step, 3)) for x, y in chain]
                for chain in _joined(list(self._pieces))]

    @property
    def drawn(self) -> int:
        """How many straight pieces are kept."""
        return len(self._pieces)


def _joined(pieces: list[tuple[Cell, Cell]]) -> list[list[Cell]]:
    """Polylines out of pieces: each piece is appended to the chain before it where their ends meet."""
    chains: list[list[Cell]] = []
    for start, end in pieces:
        last = chains[-1] if chains else None
        if last is not None and last[-1] == start:
            last.append(end)
        elif last is not None and last[-1] == end:
            last.append(start)
        elif last is not None and len(last) == 2 and last[0] in (start, end):
            last.reverse()
            last.append(end if last[-1] == start else start)
        else:
            chains.append([start, end])
    return chains
