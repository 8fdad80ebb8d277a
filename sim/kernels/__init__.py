"""Scalar maths and jitted loops: no checks, no units, nothing of the rest of the library."""
