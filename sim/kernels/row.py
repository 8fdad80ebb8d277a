"""A move's numbers as a tuple: values, not memory, so that inner loops keep them in registers."""

from .profile import jit


@jit
def load(rows, m):
    """Row m of a table of `place.WIDTH` columns."""
    return (
        rows[m, 0],
        rows[m, 1],
        rows[m, 2],
        rows[m, 3],
        rows[m, 4],
        rows[m, 5],
        rows[m, 6],
        rows[m, 7],
        rows[m, 8],
        rows[m, 9],
        rows[m, 10],
        rows[m, 11],
        rows[m, 12],
        rows[m, 13],
        rows[m, 14],
        rows[m, 15],
        rows[m, 16],
        rows[m, 17],
    )
