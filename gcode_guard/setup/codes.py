"""Codes that a setup names ("G21", "M101"): how they are spelled, and which of them may be called harmless.

What a code means is the business of the interpreter; here only so much is known as keeps a setup from
declaring away a code that moves the machine or changes where it moves next.
"""

from __future__ import annotations

import re

_CODE = re.compile(r"\s*([A-Za-z])\s*([+-]?)\s*([0-9]{1,7})(?:\.([0-9]{0,6}))?\s*", re.ASCII)

STATE_LETTERS = "GMFST"
"""Words that a control can be in when a program starts: codes, feed, spindle speed, tool."""

OWN_MOTION_CODES = ("M0", "M1", "M2", "M6", "M30", "M60")
"""Stops, tool changes and ends (NISTIR 6556, section 3.6): where machines add motions of their own."""


def normal_code(text: str) -> str:
    """A code in upper case without spaces, leading zeros or a needless point: "g02" is "G2", "G59.10" is "G59.1".

    Raises ValueError with a sentence for the user where the text is not one letter with its number.
    """
    match = _CODE.fullmatch(text)
    if match is None:
        raise ValueError('is not a code: write one letter with its number, such as "G21"')
    letter, sign, whole, fraction = match.groups()
    letter = letter.upper()
    if letter in "GM" and sign == "-":
        raise ValueError("is not a code: its number is negative")
    fraction = (fraction or "").rstrip("0")
    if letter == "M" and fraction:
        raise ValueError("is not a code: M codes are whole numbers")
    if letter == "G" and len(fraction) > 1:
        raise ValueError("is not a code: G codes have at most one decimal")
    number = str(int(whole)) + (f".{fraction}" if fraction else "")
    return letter + ("-" if sign == "-" and number != "0" else "") + number


def starting_code(text: str) -> str:
    """A normal code for `starts_in`. Raises ValueError where it cannot be a state of the control."""
    code = normal_code(text)
    if code[0] not in STATE_LETTERS:
        raise ValueError("is not a state of the control: only G, M, F, S and T words are")
    return code


def harmless_code(text: str) -> str:
    """A normal code for `harmless`.

    Raises ValueError for anything but a G or M code, and for codes that move a machine, change where later
    blocks move it, or end, stop or call a program. Refused are all G codes below 100 (NISTIR 6556 section 3.5
    and ISO 6983-1 give nearly all of them to motion, planes, units, offsets and cycles; controls differ on the
    rest) and the M codes of NISTIR 6556 section 3.6 with the calls, returns and saved states that are common
    practice (no source).
    """
    code = normal_code(text)
    letter, number = code[0], float(code[1:])
    if letter not in "GM":
        raise ValueError("is not a code: only G and M codes can be harmless")
    if letter == "G" and number < 100:
        raise ValueError("cannot be harmless: G codes below G100 move the machine or change how later blocks move it")
    if letter == "M" and number in _MEANINGFUL_M:
        raise ValueError("cannot be harmless: it has a meaning that the guard must follow")
    return code


def own_motion_code(text: str) -> str:
    """A normal code for `own_motion`. Raises ValueError where it is not one that may carry a motion of the machine."""
    code = normal_code(text)
    if code not in OWN_MOTION_CODES:
        raise ValueError("cannot have a motion of its own: only " + ", ".join(OWN_MOTION_CODES) + " can")
    return code


# Stops and ends, spindle, tool, coolant, override switches (NISTIR 6556, section 3.6); after that
# return, state saved and restored, and subprogram calls as controls commonly have them.
_MEANINGFUL_M = frozenset([*range(0, 10), 30, 48, 49, 60, 17, 47, *range(70, 74), *range(96, 100)])
