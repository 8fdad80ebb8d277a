"""Stock left on a wall along a contour, along its normals, at one height."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from .contour import Contour, Piece
from .errors import BadInput
from .probe import made_by
from .units import MM_PER, Unit, say_length, to_unit
from .wall_contour import Loop, chord_error, pass_sides, section_loops
from .wall_walk import (
    BEND,
    BEYOND,
    FOUND,
    MOST_POINTS,
    NONE,
    RUNS_FREE,
    Faces,
    Look,
    Track,
    Walk,
)

if TYPE_CHECKING:
    from .job import Job

__all__ = ["REACH", "Along", "Side", "Wall", "wall"]

Floats = NDArray[np.float64]
Side = Literal["left", "right"]
Along = int | str | tuple[tuple[float, float], tuple[float, float]]
"""A pass's number, ``"part"``, or two places in plan, mm."""

REACH: Final = 0.25 * 25.4
"""How far from the contour the metal's face is looked for, mm."""
FREE: Final = 0.5
"""Where a pass leaves the metal more than this away from its side, mm, it runs free there."""
SAME: Final = 1e-5
"""A face within this of a pass's side is its own, mm."""
BOTH: Final = 0.25
"""A pass whose shorter wall has this share of its longer one cuts on both sides."""

NOTES: Final = {
    BEYOND: "metal over the whole reach",
    NONE: "no metal within reach",
    RUNS_FREE: "the pass runs free here",
}


@dataclasses.dataclass(frozen=True)
class Wall:
    """The outcome of `wall`; lengths in mm, `as_dict` in the job's unit.

    Attributes
    ----------
    unit : {'in', 'mm'}
    z : float
    along : str
        What it was measured along, in words.
    s, x, y : ndarray of float64, shape (n,)
        Distance along the contours, one after the other, and place.
    normal : ndarray of float64, shape (n, 2)
        Out of the metal.
    stock : ndarray of float64, shape (n,)
        From the contour to the metal's face: above 0 stands proud, below 0 is cut under; NaN
        where there is none, and `state` says why.
    state : ndarray of int8, shape (n,)
        `FOUND`, `BEYOND`, `NONE` or `RUNS_FREE`.
    loop : ndarray of int32, shape (n,)
        Contour, from 1.
    rows : tuple of dict
        pass, line, tool and part_of_tool that left each face.
    least_at, most_at : int
        Index of the first point with the least and the most.
    mean : float
        By length, where there is a face.
    length, measured : float
        Of the contours, and of what has a face.
    notes : tuple of str
    """

    unit: Unit
    z: float
    along: str
    s: Floats
    x: Floats
    y: Floats
    normal: Floats
    stock: Floats
    state: NDArray[np.int8]
    loop: NDArray[np.int32]
    rows: tuple[dict[str, Any], ...]
    least_at: int
    most_at: int
    mean: float
    length: float
    measured: float
    notes: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return plain numbers in the job's unit, ready for JSON."""
        per = MM_PER[self.unit]
        return {
            "unit": self.unit,
            "least": float(self.stock[self.least_at]) / per,
            "most": float(self.stock[self.most_at]) / per,
            "mean": self.mean / per,
            "z": self.z / per,
            "along": self.along,
            "length": self.length / per,
            "measured": self.measured / per,
            "at_least": self._point(self.least_at),
            "at_most": self._point(self.most_at),
            "notes": list(self.notes),
            "points": [self._point(k) for k in range(len(self.s))],
        }

    def _point(self, k: int) -> dict[str, Any]:
        per, stock = MM_PER[self.unit], float(self.stock[k])
        return {
            "s": float(self.s[k]) / per,
            "x": float(self.x[k]) / per,
            "y": float(self.y[k]) / per,
            "stock": stock / per if math.isfinite(stock) else None,
            "loop": int(self.loop[k]),
            "normal": [float(v) + 0.0 for v in self.normal[k]],
            **self.rows[k],
            "note": NOTES.get(int(self.state[k])),
        }


def wall(
    job: Job,
    z: float,
    along: Along,
    *,
    spacing: float | None = None,
    reach: float = REACH,
    side: Side | None = None,
    as_of: str | int | None = None,
) -> Wall:
    """Return the stock left on a wall along a contour.

    Parameters
    ----------
    job : Job
    z : float
        Height, mm.
    along : int, 'part' or two places
        The wall that a pass's own side cuts at that height, the section of the part's model, or
        a straight line in plan, mm.
    spacing : float, optional
        Distance of the points, mm; a 500th of the contour unless given. The least, the most and
        the mean do not depend on it.
    reach : float
        How far from the contour the metal's face is looked for, mm.
    side : {'left', 'right'}, optional
        Side of the contour on which the metal is; found by itself unless given.
    as_of : str or int, optional
        Stop there; see `Job.count_as_of`.

    Raises
    ------
    BadInput
        Nothing to measure along, or no metal there; a height off the stock; both sides of a pass
        or a line are walls.
    """
    count = job.count_as_of(as_of)
    low, high = job.stock.low[2], job.stock.high[2]
    if not low <= z <= high:
        raise BadInput(
            f"--z {say_length(z, job.unit)} is off the stock, which reaches from "
            f"{say_length(low, job.unit)} to {say_length(high, job.unit)}"
        )
    if not reach > 0:
        raise BadInput(f"a reach of {to_unit(reach, job.unit):g} {job.unit}: it must be over 0")
    look = Look(job, z, reach)
    words, loops, after, notes = _contours(job, look, along, side)
    track = Track(loops)
    step = track.length / 500 if spacing is None else spacing
    _check_step(track, step, job.unit)
    passes = job.program.moves.pass_number

    def ask(piece: NDArray[np.int64], part: Floats) -> Faces:
        found = look(track, piece, part, count)
        if after is None:
            return found
        return _not_free(found, look(track, piece, part, after[0]), passes, after[1])

    walked = Walk(track, ask, passes)
    walked.start(step)
    walked.halve()
    return _made(job, z, words, track, walked, reach, notes)


def _check_step(track: Track, step: float, unit: Unit) -> None:
    if not step > 0:
        raise BadInput(f"a spacing of {to_unit(step, unit):g} {unit}: it must be over 0")
    if track.length / step + 2 * len(track.length_of) > MOST_POINTS:
        raise BadInput(
            f"a spacing of {to_unit(step, unit):g} {unit} on {say_length(track.length, unit)} of "
            f"contour would make over {MOST_POINTS:,} points; take a larger"
        )


# ------------------------------------------------------------------------------- what to go along


def _contours(
    job: Job, look: Look, along: Along, side: Side | None
) -> tuple[str, list[Loop], tuple[int, int] | None, list[str]]:
    """Return words, contours, (moves done, number) of a pass, and notes."""
    at = f"z {say_length(look.z, job.unit)}"
    if along == "part":
        part = job.spec.part
        if part is None or part.model is None:
            raise BadInput(
                "--along part: the job has no part model; name one as [part] model, or measure "
                "along a pass (pass:3) or a line (X1,Y1:X2,Y2)"
            )
        loops = section_loops(part.model, job.unit, look.z)
        if not loops:
            raise BadInput(f"the part's model has no section at {at}; take a height inside it")
        if side is not None:
            raise BadInput("--side goes with a pass or a line; the part has the metal inside")
        off = chord_error(loops)
        said = f"facets of the model stand up to {say_length(off, job.unit, 6)} off its curves"
        return "the part's section", loops, None, [said] if off > BEND else []
    if isinstance(along, tuple):
        return "a line", [_line(look, along, side, job)], None, []
    number = int(along)
    names = job.pass_names()
    if number not in names:
        last = max(names, default=0)
        raise BadInput(f"--along pass:{number}: there is no pass {number}; the last is {last}")
    done = job.count_as_of(number)
    pairs = pass_sides(job.program.moves, job.tools, number, look.z, job.unit)
    loops = [loop for pair in pairs for loop in _chosen(look, pair, side, done, number, job)]
    if not loops:
        raise BadInput(
            f"the side of pass {number} meets no metal at {at} within the reach of "
            f"{say_length(look.reach, job.unit)}; take another height, pass or --reach"
        )
    return f"the side of pass {number} ({names[number][1]})", loops, (done, number), []


def _line(
    look: Look, ends: tuple[tuple[float, float], tuple[float, float]], side: Side | None, job: Job
) -> Loop:
    """Return a straight line; the metal is where its face is nearer."""
    if not math.dist(*ends) > 1e-6:
        raise BadInput("--along X1,Y1:X2,Y2 has no length; give two different places")
    contour = Contour((Piece(*ends),), False)
    if side is not None:
        return Loop(contour, side == "left")
    means = {}
    for left in (True, False):
        found = _sampled(look, [Loop(contour, left)], None)[0]
        good = found.state == FOUND
        # A side that only some of the line has counts for less.
        far = np.where(good, np.abs(np.where(good, found.stock, 0.0)), look.reach)
        means[left] = float(np.mean(far)) if good.any() else math.inf
    if math.isinf(min(means.values())):
        raise BadInput(
            f"no metal's face within {say_length(look.reach, job.unit)} of the line at "
            f"z {say_length(look.z, job.unit)}; take another line, height or --reach"
        )
    if abs(means[True] - means[False]) < SAME:
        raise BadInput(
            "metal is on both sides of the line alike; say on which with --side left or right, as "
            "seen by a person who walks from X1,Y1 to X2,Y2"
        )
    return Loop(contour, means[True] < means[False])


def _sampled(look: Look, loops: Sequence[Loop], count: int | None) -> tuple[Faces, Floats]:
    """Return faces at places spread over contours, and the length that each stands for."""
    track = Track(loops)
    n = np.maximum(1, np.ceil(track.length_of / max(track.length / 200, 1e-9))).astype(np.int64)
    piece = np.repeat(np.arange(len(n)), n)
    part = (np.arange(len(piece)) - np.repeat(np.cumsum(n) - n, n) + 0.5) / n[piece]
    return look(track, piece, part, count), track.length_of[piece] / n[piece]


def _chosen(
    look: Look, pair: tuple[list[Loop], list[Loop]], side: Side | None, done: int, number: int,
    job: Job,
) -> list[Loop]:  # fmt: skip
    """Return the walls of a chain on the side where the pass leaves metal."""
    passes = job.program.moves.pass_number
    own, near = [0.0, 0.0], [0.0, 0.0]
    kept: tuple[list[Loop], list[Loop]] = ([], [])
    for k, loops in enumerate(pair):
        for loop in loops:
            found, length = _sampled(look, [loop], done)
            mine = (found.state == FOUND) & (np.abs(np.nan_to_num(found.stock, nan=9.0)) < SAME)
            mine &= (found.move >= 0) & (passes[np.maximum(found.move, 0)] == number)
            close = (found.state == FOUND) & (np.nan_to_num(found.stock, nan=-9.0) > -FREE)
            own[k] += float(length[mine].sum())
            near[k] += float(length[close].sum())
            if close.any() or mine.any():  # others run free of any metal: leads
                kept[k].append(loop)
    if side is not None:
        return kept[0] if side == "left" else kept[1]
    score = own if max(own) > 0 else near
    if max(score) == 0:
        return []
    if min(score) > BOTH * max(score):
        x, y = (to_unit(v, job.unit) for v in (pair[0] or pair[1])[0].contour.start)
        raise BadInput(
            f"pass {number} has a wall on both sides near X{x:.4f} Y{y:.4f}; say on which side of "
            "its path the metal is: --side left or right, as seen along the path"
        )
    return kept[0] if score[0] > score[1] else kept[1]


def _not_free(found: Faces, after: Faces, passes: NDArray[np.int32], number: int) -> Faces:
    """Return faces without those where the pass, once done, is far from any metal."""
    mine = (after.move >= 0) & (passes[np.maximum(after.move, 0)] == number)
    near = (after.state == FOUND) & (np.nan_to_num(after.stock, nan=-9.0) > -FREE)
    free = ~(near | (mine & (after.state == FOUND)))
    return dataclasses.replace(
        found,
        stock=np.where(free, np.nan, found.stock),
        state=np.where(free, RUNS_FREE, found.state).astype(np.int8),
    )


def _made(
    job: Job, z: float, words: str, track: Track, walked: Walk, reach: float,
    notes: list[str],
) -> Wall:  # fmt: skip
    """Return the outcome: shown points in order, the least and the most among all."""
    unit = job.unit
    if not np.isfinite(walked.faces.stock).any():
        why = "no metal's face" if (walked.faces.state != BEYOND).any() else "nothing but metal"
        raise BadInput(
            f"{why} within {say_length(reach, unit)} of {words} at z {say_length(z, unit)}; take "
            "another height, contour, --as-of or --reach"
        )
    order, least, most = walked.picked()
    piece = walked.piece[order]
    part = walked.shown_part(order)
    place, normal = track.at(piece, part)
    s = track.s_of[piece] + part * track.length_of[piece]
    faces = walked.faces
    none = {"pass": None, "line": None, "tool": None, "part_of_tool": None}
    rows = tuple(
        made_by(job, int(faces.move[k]), int(faces.label[k])) if faces.state[k] == FOUND else none
        for k in order
    )
    if walked.unfinished:
        notes = [*notes, f"stopped at {MOST_POINTS:,} places; take a shorter contour"]
    return Wall(
        unit=unit, z=z, along=words, s=s, x=place[:, 0], y=place[:, 1], normal=normal,
        stock=faces.stock[order], state=faces.state[order], loop=track.loop[piece],
        rows=rows, least_at=least, most_at=most,
        mean=walked.area / walked.measured if walked.measured else math.nan,
        length=track.length, measured=walked.measured,
        notes=(*notes, *_gaps(track, walked, unit)),
    )  # fmt: skip


def _gaps(track: Track, walked: Walk, unit: Unit) -> list[str]:
    """Say how much of the contour has no face, by reason."""
    rest = track.length - walked.measured
    if rest < 1e-4 * track.length:
        return []
    seen = [NOTES[k] for k in (BEYOND, NONE, RUNS_FREE) if (walked.faces.state == k).any()]
    return [f"{say_length(rest, unit)} of the contour left out: {', '.join(seen)}"]
