"""Which codes are known, which exclude each other (Table 4 of NISTIR 6556), and which words belong to which code."""

from __future__ import annotations

from .plain_words import NotUnderstood, Words

G_GROUPS: dict[str, tuple[float, ...]] = {
    "motion": (0, 1, 2, 3, 38.2, 38.3, 38.4, 38.5, 73, 80, 81, 82, 83, 84, 85, 86, 87, 88, 89),
    "plane": (17, 18, 19),
    "distance": (90, 91),
    "centres": (90.1, 91.1),
    "feed mode": (93, 94, 95),
    "units": (20, 21),
    "compensation": (40, 41, 42, 41.1, 42.1),
    "tool length": (43, 49),
    "retract": (98, 99),
    "offset": (54, 55, 56, 57, 58, 59, 59.1, 59.2, 59.3),
    "path": (61, 61.1, 64),
    "spindle mode": (96, 97),
    "non-modal": (4, 10, 28, 28.1, 30, 30.1, 53, 92, 92.1, 92.2, 92.3),
    "polar": (15,),
    "scaling": (50,),
    "rotation": (69,),
}
M_GROUPS: dict[str, tuple[int, ...]] = {
    "stop": (0, 1, 2, 30),
    "tool change": (6,),
    "spindle": (3, 4, 5),
    "coolant": (7, 8, 9),
    "overrides": (48, 49),
    "subprogram": (98, 99),
}
TAKES_AXES = (10, 28, 30, 92)
"""Non-modal codes that use the axis words themselves."""

USERS: dict[str, tuple[float, ...]] = {
    "I": (2, 3, 87),
    "J": (2, 3, 87),
    "K": (2, 3, 87),
    "R": (2, 3, 73, 81, 82, 83, 84, 85, 86, 87, 88, 89),
    "Q": (73, 83),
    "P": (4, 10, 64, 73, 81, 82, 83, 84, 85, 86, 87, 88, 89),
    "L": (10, 41.1, 42.1, 73, 81, 82, 83, 84, 85, 86, 87, 88, 89),
    "D": (41, 42, 41.1, 42.1, 96),
    "H": (43,),
}
"""Each of these words needs one of these codes, in the block or as the modal motion (section 3.3.2).

A P where the cycle does not dwell moves nothing: it may stand (common practice)."""


def sort_codes(words: Words) -> dict[str, float]:
    """The codes of a block by modal group; raises where one is unknown or two of one group meet."""
    found: dict[str, float] = {}
    for letter, codes, groups in (("G", words.g, G_GROUPS), ("M", words.m, M_GROUPS)):
        for code in codes:
            name = next((name for name, members in groups.items() if code in members), None)
            if name is None:
                raise NotUnderstood(words.line, f"{letter}{code:g} is not known")
            key = name if letter == "G" else f"M {name}"
            if key in found:
                raise NotUnderstood(words.line, f"two codes of the group {key!r} in one block")
            found[key] = code
    if len(words.m) > 4:
        raise NotUnderstood(words.line, "more than four M words")
    return found


def check_users(words: Words, codes: dict[str, float], motion: float | None) -> None:
    """No word may stand without a code that reads it."""
    present = {code for group, code in codes.items() if not group.startswith("M ")}
    present |= {motion} if motion is not None else set()
    calls = codes.get("M subprogram") == 98
    for letter in words.values:
        if letter in "XYZFSTN":
            continue
        if calls and letter in "PL":
            continue
        if letter not in USERS or not present & set(USERS[letter]):
            raise NotUnderstood(words.line, f"{letter} without a code that reads it")
