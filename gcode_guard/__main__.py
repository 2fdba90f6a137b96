"""Lets `python -m gcode_guard` stand in for the installed command, which starts here too."""

import signal


def start() -> None:
    """The command. Until it listens, an interrupt ends it at once, without a traceback of what was being imported."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from gcode_guard.cli import main

    main()


if __name__ == "__main__":
    start()
