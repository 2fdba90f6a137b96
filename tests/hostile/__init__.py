"""Attempts to break it: a long run over generated programs, fuzzing, faults, large and small numbers."""
