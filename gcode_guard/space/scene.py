"""The scene: everything that stands on the table, as columns over convex hulls, and an index to find what is near."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .hulls import Hull

# Up to so many hulls, or pairs of a box and a hull, comparing all in NumPy was measured to be faster than the index.
BRUTE_FORCE_HULLS = 500
BRUTE_FORCE_PAIRS = 200_000
PAIRS_AT_ONCE = 1_000_000

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class SceneSolid:
    """One upright solid: its footprint as convex hulls, solid from below up to `top`; it may be wrong by `tolerance`.

    obstacle: the number of the obstacle that it belongs to. Lengths in mm.
    """

    obstacle: int
    hulls: Sequence[Hull]
    top: float
    tolerance: float


@dataclass(frozen=True, eq=False)
class Scene:
    """All hulls of all solids, m of them, in columns.

    vertices: (m, K, 2) float, mm; rows with fewer than K vertices repeat their last one.
    count: (m,) int, true number of vertices.
    radius, top, tolerance: (m,) float, mm. obstacle: (m,) int.
    bounds: (m, 4) float: lowest x, lowest y, highest x, highest y of each rounded hull, without the tolerance.
    highest: top + tolerance of the highest solid, -inf where there is none.
    """

    vertices: Floats
    count: Indices
    radius: Floats
    top: Floats
    tolerance: Floats
    obstacle: Indices
    bounds: Floats
    highest: float

    def __len__(self) -> int:
        return len(self.top)

    @classmethod
    def build(cls, solids: Sequence[SceneSolid]) -> Scene:
        """Columns of these solids, in their order. ValueError for a top or a tolerance that is no finite number."""
        rows = [(hull, solid) for solid in solids for hull in solid.hulls]
        for solid in solids:
            if not solid.hulls:
                raise ValueError("a solid needs a footprint")
            if not (math.isfinite(solid.top) and math.isfinite(solid.tolerance)) or solid.tolerance < 0:
                raise ValueError("a solid needs a finite top and a tolerance that is not negative")
        widest = max((len(hull.vertices) for hull, _ in rows), default=1)
        vertices = np.zeros((len(rows), widest, 2))
        for row, (hull, _) in enumerate(rows):
            vertices[row, : len(hull.vertices)] = hull.vertices
            vertices[row, len(hull.vertices) :] = hull.vertices[-1]
        top = np.array([solid.top for _, solid in rows], dtype=np.float64)
        tolerance = np.array([solid.tolerance for _, solid in rows], dtype=np.float64)
        return cls(
            vertices=vertices,
            count=np.array([len(hull.vertices) for hull, _ in rows], dtype=np.int64),
            radius=np.array([hull.radius for hull, _ in rows], dtype=np.float64),
            top=top,
            tolerance=tolerance,
            obstacle=np.array([solid.obstacle for _, solid in rows], dtype=np.int64),
            bounds=np.array([hull.bounds for hull, _ in rows], dtype=np.float64).reshape(-1, 4),
            highest=float((top + tolerance).max()) if rows else -math.inf,
        )

    def take(self, rows: Sequence[int] | Indices) -> Scene:
        """The scene of these hulls alone, in this order."""
        picked = np.asarray(rows, dtype=np.int64)
        return Scene(
            vertices=self.vertices[picked],
            count=self.count[picked],
            radius=self.radius[picked],
            top=self.top[picked],
            tolerance=self.tolerance[picked],
            obstacle=self.obstacle[picked],
            bounds=self.bounds[picked],
            highest=float((self.top + self.tolerance)[picked].max(initial=-math.inf)),
        )

    def near(self, low: Floats, high: Floats) -> tuple[Indices, Indices]:
        """Which hulls' bounds touch which boxes: (p,) numbers of boxes, ascending, and (p,) numbers of hulls, ascending
        within a box. `low`, `high`: (n, 2) float, mm, corners of the boxes; they may be infinite. ValueError for NaN.
        """
        if np.isnan(low).any() or np.isnan(high).any():
            raise ValueError("a box with a corner that is not a number is near everything or nothing")
        if len(self) > BRUTE_FORCE_HULLS and len(low) * len(self) > BRUTE_FORCE_PAIRS:
            return self._near_by_index(low, high)
        return self._near_by_comparison(low, high)

    def _near_by_comparison(self, low: Floats, high: Floats) -> tuple[Indices, Indices]:
        rows = max(1, PAIRS_AT_ONCE // max(1, len(self)))
        if len(low) > rows:
            starts = range(0, len(low), rows)
            parts = [self._near_by_comparison(low[i : i + rows], high[i : i + rows]) for i in starts]
            boxes = np.concatenate([i + box for i, (box, _) in zip(starts, parts, strict=True)])
            return boxes, np.concatenate([hull for _, hull in parts])
        bounds = self.bounds
        touch = low[:, 0, None] <= bounds[:, 2]
        touch &= high[:, 0, None] >= bounds[:, 0]
        touch &= low[:, 1, None] <= bounds[:, 3]
        touch &= high[:, 1, None] >= bounds[:, 1]
        box, hull = np.nonzero(touch)
        return box, hull

    def _near_by_index(self, low: Floats, high: Floats) -> tuple[Indices, Indices]:
        # The index takes no infinite or reversed boxes; beyond the scene's own bounds nothing is lost by clamping.
        least, most = self.bounds[:, :2].min(axis=0) - 1.0, self.bounds[:, 2:].max(axis=0) + 1.0
        low, high = np.clip(low, least, most), np.clip(high, least, most)
        hull, counts = self._index.intersection_v(np.ascontiguousarray(low), np.ascontiguousarray(high))
        box = np.repeat(np.arange(len(low)), counts.astype(np.int64))
        order = np.lexsort((hull, box))
        return box[order], np.asarray(hull, dtype=np.int64)[order]

    @cached_property
    def _index(self) -> Any:
        import rtree.index  # here, because start-up is felt in a pipe and small scenes never need it

        numbers = np.arange(len(self), dtype=np.int64)
        bounds = np.ascontiguousarray(self.bounds)
        return rtree.index.Index((numbers, bounds[:, :2], bounds[:, 2:]))
