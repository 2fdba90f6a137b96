"""How often something was tried in vain, and when it may be tried again."""

from __future__ import annotations

from gcode_guard.watch.folder import Signature

PAUSES = (1.0, 2.0, 5.0, 10.0, 30.0)  # seconds before the next try, the last for all after
MOST_AT_ONCE = 3  # tries after which a single round gives up


class Tries:
    """By program name; the empty name stands for the folder itself."""

    def __init__(self) -> None:
        self._failed: dict[str, tuple[int, float]] = {}
        self._news: dict[str, str] = {}
        self._deaths: dict[tuple[str, Signature], int] = {}

    def failed(self, name: str, now: float) -> float:
        """Notes a try in vain; returns the seconds to wait."""
        times = self._failed.get(name, (0, 0.0))[0] + 1
        pause = PAUSES[min(times, len(PAUSES)) - 1]
        self._failed[name] = (times, now + pause)
        return pause

    def may(self, name: str, now: float) -> bool:
        """Whether it is time to try."""
        return now >= self._failed.get(name, (0, 0.0))[1]

    def due(self, now: float) -> float | None:
        """When after `now` the next may be tried."""
        return min((time for _, time in self._failed.values() if time > now), default=None)

    def is_news(self, name: str, why: str) -> bool:
        """Whether this has not been said of it before."""
        news = self._news.get(name) != why
        self._news[name] = why
        return news

    def given_up(self, name: str) -> bool:
        """Whether a single round has tried often enough."""
        return self._failed.get(name, (0, 0.0))[0] >= MOST_AT_ONCE

    def deaths(self, name: str, program: Signature) -> int:
        """Notes that a worker died on a program; returns how many did."""
        self._deaths[name, program] = self._deaths.get((name, program), 0) + 1
        return self._deaths[name, program]

    def forget(self, name: str) -> None:
        self._failed.pop(name, None)
        self._news.pop(name, None)
