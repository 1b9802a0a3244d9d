"""Compilers: finding them, calling them, telling what they said."""
