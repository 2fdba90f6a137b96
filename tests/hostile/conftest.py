"""The fixture that the tests of faults share."""

from .calling import place

__all__ = ["place"]
