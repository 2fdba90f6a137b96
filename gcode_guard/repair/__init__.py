"""The room that mends: which edits make a run of rapids safe, and how to write them in the program's own style."""
