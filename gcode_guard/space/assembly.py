"""The tool assembly: what hangs on the spindle axis above the tip, as stacked upright cylinders.

Section k reaches from `from_[k]` above the tip upward without end: everything above it is at least as likely to be
there as not, and an obstacle that stands as high as a section's foot is met by that section whatever comes above.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Assembly:
    """Stacked cylinders on one axis.

    from_: (s,) float, mm above the tip, not descending (negative where a shoe hangs lower than the tip).
    radius: (s,) float, mm, not negative.
    part: (s,) names of what each section is: "cutter", "shank", "collet nut/spindle", "shoe".
    hidden_undercut: whether sections that reduce() dropped made the assembly undercut.
    Raises ValueError for no section at all, numbers that are not finite, negative radii, or a descending `from_`.
    """

    from_: NDArray[np.float64]
    radius: NDArray[np.float64]
    part: Sequence[str]
    hidden_undercut: bool = False

    def __post_init__(self) -> None:
        from_, radius = np.array(self.from_, dtype=np.float64), np.array(self.radius, dtype=np.float64)
        if from_.ndim != 1 or from_.shape != radius.shape or len(from_) != len(self.part) or not len(from_):
            raise ValueError("an assembly needs one height, one radius and one name for each of its sections")
        if not (np.isfinite(from_).all() and np.isfinite(radius).all()) or (radius < 0).any():
            raise ValueError("an assembly needs finite heights and radii that are not negative")
        if (np.diff(from_) < 0).any():
            raise ValueError("the sections of an assembly must be given from the tip up")
        from_.flags.writeable = radius.flags.writeable = False
        object.__setattr__(self, "from_", from_)
        object.__setattr__(self, "radius", radius)
        object.__setattr__(self, "part", tuple(self.part))

    def __len__(self) -> int:
        return len(self.from_)

    @property
    def undercut(self) -> bool:
        """Whether some section is wider than one above it, as a disc on an arbor is."""
        return self.hidden_undercut or bool((np.diff(self.radius) < 0).any())

    def reduce(self) -> Assembly:
        """The same without the sections that a lower, at least as wide one hides: radii then ascend strictly."""
        kept: list[int] = []
        for index in range(len(self)):
            # Where several start at one height, the widest hides the others, whichever is given first.
            while kept and self.from_[kept[-1]] == self.from_[index] and self.radius[kept[-1]] <= self.radius[index]:
                kept.pop()
            if not kept or self.radius[index] > self.radius[kept[-1]]:
                kept.append(index)
        if len(kept) == len(self):
            return self
        return Assembly(self.from_[kept], self.radius[kept], [self.part[k] for k in kept], self.undercut)
