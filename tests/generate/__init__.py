"""Strategies that make benches (setup files) and the programs that run on them."""
