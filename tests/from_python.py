"""Kernels that only kernels call, made callable from a test."""

from __future__ import annotations

import contextlib

import numba


def from_python(kernel):
    """Return a kernel with the wrapper that a call from Python needs (or the plain function)."""
    return numba.njit(error_model="numpy")(getattr(kernel, "py_func", kernel))


@contextlib.contextmanager
def plain_loops(module):
    """Have all kernels of a module run as the plain Python that they are written in."""
    compiled = {name: k for name, k in vars(module).items() if hasattr(k, "py_func")}
    for name, kernel in compiled.items():
        setattr(module, name, kernel.py_func)
    try:
        yield
    finally:
        for name, kernel in compiled.items():
            setattr(module, name, kernel)
