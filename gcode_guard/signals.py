"""How a signal ends the command: wherever it is, but never between two files that are put in their places."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from collections.abc import Iterator
from types import FrameType
from typing import NoReturn

AGAIN = 1.0  # seconds after which a signal that was swallowed is raised anew

_held = 0  # how many parts of the program must not be interrupted now
_asked = 0  # the signal that asks the command to end, 0 for none


class Stopped(BaseException):
    """Raised where a signal asks the command to end, so that everything on the way is tidied up."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


def listen() -> None:
    """From here on the signals that end a command raise Stopped, in the main thread."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and not (name == "SIGHUP" and signal.getsignal(number) == signal.SIG_IGN):  # nohup(1)
            signal.signal(number, _stop)
    if hasattr(signal, "SIGALRM"):
        signal.signal(signal.SIGALRM, _again)
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_DFL)


def deafen() -> None:
    """From here on a signal ends the process at once, without a word."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is _stop:
            signal.signal(number, signal.SIG_DFL)


def _stop(number: int, frame: FrameType | None) -> None:
    global _asked
    if _asked:
        return  # what is tidied up now is tidied up once
    _asked = number
    if hasattr(signal, "setitimer"):
        # A library that calls back, or a finaliser, may swallow what is raised in it: then it is raised anew.
        signal.setitimer(signal.ITIMER_REAL, AGAIN)
    if not _held:
        raise Stopped(number)


def _again(number: int, frame: FrameType | None) -> None:
    signal.setitimer(signal.ITIMER_REAL, AGAIN)
    if _asked and not _held:
        raise Stopped(_asked)


@contextlib.contextmanager
def undisturbed() -> Iterator[None]:
    """What is inside is not interrupted: a signal that comes meanwhile raises Stopped at its end. For short work."""
    global _held
    _held += 1
    try:
        yield
    finally:
        _held -= 1
        if _asked and not _held:
            raise Stopped(_asked)


@contextlib.contextmanager
def broken_pipe_raised() -> Iterator[None]:
    """A reader that goes away raises Stopped inside, instead of ending the process with files left behind."""
    if not hasattr(signal, "SIGPIPE"):
        yield
        return
    before = signal.signal(signal.SIGPIPE, signal.SIG_IGN)
    try:
        yield
    except BrokenPipeError:
        raise Stopped(signal.SIGPIPE) from None
    finally:
        signal.signal(signal.SIGPIPE, before)


def quietly(number: int) -> NoReturn:
    """Ends the process the way a signal would have."""
    signal.signal(number, signal.SIG_DFL)
    os.kill(os.getpid(), number)
    sys.exit(128 + number)
