"""Referees: a second reader of the language and a second decision rule, sharing no code with the package."""
