"""Times of rapids by hand: from rest to rest with uniform acceleration."""

from __future__ import annotations

import pytest

from gcode_guard.space.times import Profile, rapid_time

RATES, ACCELERATIONS = [6000.0, 3000.0, 1200.0], [500.0, 250.0, 100.0]  # 100, 50, 20 mm/s


@pytest.mark.parametrize(
    ("way", "seconds"),
    [
        ((200.0, 0.0, 0.0), 2.2),  # 200/100, and 100/500 for speeding up and slowing down
        ((-200.0, 0.0, 0.0), 2.2),
        ((20.0, 0.0, 0.0), 0.4),  # just gets to its rate: 2 * sqrt(20/500)
        ((5.0, 0.0, 0.0), 0.2),  # never gets there: 2 * sqrt(5/500)
        ((0.0, 100.0, 0.0), 2.2),
        ((0.0, 2.5, 0.0), 0.2),
        ((0.0, 0.0, -40.0), 2.2),
        ((0.0, 0.0, 1.0), 0.2),
        ((5.0, 100.0, 1.0), 2.2),  # the slowest axis counts
        ((0.0, 0.0, 0.0), 0.0),
    ],
)
def test_by_hand(way: tuple[float, float, float], seconds: float) -> None:
    assert rapid_time([way], RATES, ACCELERATIONS) == pytest.approx([seconds])
    assert rapid_time([(0, 0, 0), way, way], RATES, ACCELERATIONS) == pytest.approx([0.0, seconds, seconds])
    assert Profile(RATES, ACCELERATIONS).seconds(*way) == pytest.approx(seconds)


def test_a_very_slow_machine() -> None:
    """Half a millimetre a second, reached within a second: 1/0.5 + 0.5/0.5."""
    assert rapid_time([(1, 0, 0)], [30] * 3, [0.5] * 3) == pytest.approx([3.0])
    assert Profile([30] * 3, [0.5] * 3).seconds(0, -1, 0) == pytest.approx(3.0)


def test_no_moves_take_no_time() -> None:
    assert len(rapid_time([], RATES, ACCELERATIONS)) == 0


@pytest.mark.parametrize("wrong", [0.0, -1.0, float("nan")])
@pytest.mark.parametrize("axis", range(3))
def test_a_rate_that_makes_no_sense_is_refused(axis: int, wrong: float) -> None:
    for rates, accelerations in (([*RATES], ACCELERATIONS), (RATES, [*ACCELERATIONS])):
        (rates if rates is not RATES else accelerations)[axis] = wrong
        with pytest.raises(ValueError, match="above zero"):
            rapid_time([(1, 1, 1)], rates, accelerations)
        with pytest.raises(ValueError, match="^rates and accelerations must be above zero$"):
            Profile(rates, accelerations)
