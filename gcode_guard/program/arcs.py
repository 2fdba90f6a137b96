"""Arcs: the centre of an arc, and every plausible reading of one whose ends or radii are doubtful.

NISTIR 6556, sections 3.5.3.1 (radius format) and 3.5.3.2 (centre format).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..lengths import Units, length
from .errors import NotUnderstood

# The first two axes of each plane and the letters of their centre offsets; the third axis is the helix's.
PLANES = {"G17": (0, 1, 2), "G18": (2, 0, 1), "G19": (1, 2, 0)}
AGREES = 0.002  # mm, by which the two radii may differ: NISTIR 6556, section 3.5.3.2
DOUBTFUL = 0.05  # mm, up to which a difference is followed with every reading checked
LEAST = 0.001  # mm, the smallest radius that is one
COMPUTED = 1e-6  # mm, how far two controls may differ in what they compute of the same numbers


@dataclass(slots=True, frozen=True)
class Arc:
    """The centre in the two axes of the plane, how far the true path may lie beside the one described, and whether
    a full turn is another plausible reading of it (`sliver`) or the reading itself (`full`). Millimetres."""

    first: float
    second: float
    grow: float
    full: bool
    sliver: bool


def from_centre(start: tuple[float, float], end: tuple[float, float], centre: tuple[float, float],
                other: tuple[float, float] | None, units: Units) -> Arc:
    """An arc about a given centre. `other` is the centre under the other reading of I, J, K; lengths are told in
    `units`.

    Raises NotUnderstood where the radii differ by more than DOUBTFUL, or are zero.
    """
    r0, r1 = math.dist(start, centre), math.dist(end, centre)
    difference = abs(r0 - r1)
    if difference > DOUBTFUL:
        if other is not None and abs(math.dist(start, other) - math.dist(end, other)) <= AGREES:
            raise NotUnderstood("the centre of this arc only closes when I, J, K are read the other way",
                                "say G90.1 (absolute centres) or G91.1 (incremental ones) in the program or in"
                                " starts_in")
        raise NotUnderstood(f"the ends of this arc lie {length(difference, units)} differently far from its centre",
                            "export the program again, with more decimals")
    if r0 < LEAST:
        raise NotUnderstood("this arc has no radius", "export the program again")
    chord = math.dist(start, end)
    full = chord == 0
    return Arc(*centre, grow=difference if difference > AGREES else 0.0, full=full,
               sliver=not full and chord <= DOUBTFUL)


def from_radius(start: tuple[float, float], end: tuple[float, float], radius: float, clockwise: bool,
                units: Units) -> Arc:
    """An arc by its radius; a negative radius means more than half a turn (NISTIR 6556, section 3.5.3.1). Lengths are
    told in `units`.

    Raises NotUnderstood for ends that coincide or lie further apart than the diameter, and for turns so nearly whole
    that the centre may lie in any direction.
    """
    chord = math.dist(start, end)
    size = abs(radius)
    if size < LEAST:
        raise NotUnderstood("this arc has no radius", "export the program again")
    if chord == 0:
        raise NotUnderstood("an arc by its radius ends where it starts", "write a full circle with I, J, K")
    if chord / 2 - size > DOUBTFUL / 2:
        raise NotUnderstood(f"the ends of this arc lie {length(chord, units)} apart, more than twice its radius",
                            "export the program again, with more decimals")
    if radius < 0 and chord <= DOUBTFUL:
        raise NotUnderstood("an arc by its radius is so nearly a full circle that its centre may lie anywhere",
                            "write it with I, J, K")
    square = size**2 - (chord / 2) ** 2
    height = math.sqrt(max(0.0, square))
    # Near half a turn the height is the root of a small difference: what rounding within controls leaves open of it.
    slack = 2 * size * COMPUTED
    least, most = math.sqrt(max(0.0, square - slack)), math.sqrt(max(0.0, square + slack))
    doubt = 2 * max(most - height, height - least) + max(0.0, chord / 2 - size)
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    across = (-(end[1] - start[1]) / chord, (end[0] - start[0]) / chord)
    left = not clockwise if radius > 0 else clockwise
    side = height if left else -height
    centre = (middle[0] + across[0] * side, middle[1] + across[1] * side)
    return Arc(*centre, grow=doubt if doubt > AGREES else 0.0, full=False, sliver=False)

