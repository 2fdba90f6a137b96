"""The room that knows G-code: blocks kept to the byte, modal state, order of execution, cycles, arcs, moves."""
