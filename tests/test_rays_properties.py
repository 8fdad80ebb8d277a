"""What must not change the metal on a ray: frames, splits, order, direction; sums of lengths."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import oracle_cast as cast
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from oracle_compare import pairs, without_slivers
from oracle_rays import FakeTool, World
from proud.moves import ARC, Moves
from proud.pieces import Piece
from proud.rays import Metal, Sweeps, rays
from proud.stock import Block

SEEDS = st.integers(0, 2**32 - 1)
LOW, HIGH = (-64.0, -64.0, -64.0), (64.0, 64.0, 64.0)
STOCK = Block(LOW, HIGH, 1.0, "")
RAYS = 21
SAME = 1e-9
few = settings(
    max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)


@dataclasses.dataclass
class Case:
    """A program and rays, none of them grazing: there the last bit decides."""

    tools: dict[int, FakeTool]
    moves: Moves
    origins: np.ndarray
    ways: np.ndarray

    @classmethod
    def draw(cls, seed: int, count: int = 3, moves: tuple[str, ...] = tuple(cast.MOVES)) -> Case:
        rng = np.random.default_rng(seed)
        shapes = rng.choice(list(cast.SHAPES), 2)
        tools = {k + 1: cast.random_tool(rng, str(s)) for k, s in enumerate(shapes)}
        parts = [cast.random_moves(rng, str(rng.choice(moves))) for _ in range(count)]
        program = Moves.join(parts)
        program = dataclasses.replace(program, tool=rng.integers(1, 3, count).astype(np.int32))
        world = World.of(program, tools, (LOW, HIGH))
        drawn = cast.random_rays(rng, world, RAYS)
        keep = drawn.names != "grazing"
        return cls(tools, program, drawn.origins[keep], drawn.ways[keep])

    def metal(self, **more) -> Metal:
        """Return the code's answer, with some of the case's parts replaced."""
        this = dataclasses.replace(self, **more)
        return rays(this.origins, this.ways, Sweeps(this.moves, this.tools), STOCK)


def assert_same(a: Metal, b: Metal, case: Case, tolerance: float = SAME) -> int:
    """Assert that two answers are the same stretches; return how many rays were cut."""
    cut = 0
    for k in range(len(case.origins)):
        one, two = (without_slivers(pairs(m, k)) for m in (a, b))
        assert one.shape == two.shape, (k, one, two, case)
        assert float(np.abs(one - two).max(initial=0.0)) <= tolerance, (k, one, two, case)
        cut += len(one) > 1
    return cut


def placed(case: Case, matrix: np.ndarray, shift: np.ndarray) -> Case:
    """Return a case turned or mirrored in plan by a matrix of 0 and 1, then shifted."""
    full = np.eye(3)
    full[:2, :2] = matrix
    sense = float(np.linalg.det(matrix))
    m = case.moves
    start, end = (np.c_[v[:, :2] @ matrix.T, v[:, 2]] + shift for v in (m.start, m.end))
    moved = dataclasses.replace(
        m, start=start, end=end,
        center=m.center @ matrix.T + shift[:2] * (m.kind == ARC)[:, None], turn=m.turn * sense,
    )  # fmt: skip
    return Case(case.tools, moved, case.origins @ full.T + shift, case.ways @ full.T)


QUARTER = np.array([[0.0, -1.0], [1.0, 0.0]])
MIRROR = np.array([[-1.0, 0.0], [0.0, 1.0]])


@few
@given(seed=SEEDS, quarters=st.integers(0, 3), mirror=st.booleans())
def test_turned_by_quarters_and_mirrored(seed: int, quarters: int, mirror: bool) -> None:
    case = Case.draw(seed)
    matrix = np.linalg.matrix_power(QUARTER, quarters) @ (MIRROR if mirror else np.eye(2))
    other = placed(case, matrix, np.zeros(3))
    assert_same(case.metal(), other.metal(), case)


@few
@given(seed=SEEDS, shift=st.tuples(*[st.integers(-1000, 1000)] * 3))
def test_shifted(seed: int, shift: tuple[int, int, int]) -> None:
    """Moved with its stock: the same distances, but for the ulp of the larger coordinates."""
    case, by = Case.draw(seed), np.array(shift, dtype=float)
    other = placed(case, np.eye(2), by)
    stock = Block(tuple(by + LOW), tuple(by + HIGH), 1.0, "")
    far = rays(other.origins, other.ways, Sweeps(other.moves, other.tools), stock)
    assert_same(case.metal(), far, case, 1e-7)


@few
@given(seed=SEEDS, share=st.floats(0.01, 0.99))
def test_a_line_in_two(seed: int, share: float) -> None:
    case = Case.draw(seed, 1, ("level line", "ramp", "steep ramp", "plunge", "line along an axis"))
    m = case.moves
    middle = m.start + share * (m.end - m.start)
    level = m.start == m.end
    middle[level] = m.start[level]
    halves = Moves.join([dataclasses.replace(m, end=middle), dataclasses.replace(m, start=middle)])
    # The middle lies an ulp beside the line: as far may a wall be, and more where it is grazed.
    assert_same(case.metal(), case.metal(moves=halves), case, 1e-7)


@few
@given(seed=SEEDS)
def test_order_of_moves(seed: int) -> None:
    """Another order leaves the same metal, each end made by the same move or one just as deep."""
    case = Case.draw(seed, 4)
    order = np.random.default_rng(seed).permutation(4)
    one, two = case.metal(), case.metal(moves=case.moves[order])
    assert_same(one, two, case)
    if len(one.enter) == len(two.enter):
        for a, b in ((one.enter_move, two.enter_move), (one.leave_move, two.leave_move)):
            names = np.append(order, [-2, -1])[b]  # the order ends with RAW and NOTHING
            assert (names == a).mean() > 0.9


@few
@given(seed=SEEDS)
def test_the_other_way_along_a_ray(seed: int) -> None:
    case = Case.draw(seed)
    length = 1000.0  # from well outside the stock to well outside
    case = dataclasses.replace(case, origins=case.origins - 400.0 * case.ways)
    there = case.metal()
    back = case.metal(origins=case.origins + length * case.ways, ways=-case.ways)
    for k in range(len(case.origins)):
        one, two = (without_slivers(pairs(m, k)) for m in (there, back))
        mirrored = (length - two)[::-1, ::-1]
        assert one.shape == mirrored.shape, (k, one, mirrored, case)
        np.testing.assert_allclose(one, mirrored, rtol=0, atol=1e-8)


def in_two(piece: Piece, share: float) -> list[Piece]:
    """Return a piece cut across its axis."""
    top = piece.z_high if math.isfinite(piece.z_high) else piece.z_low + 10.0
    z = piece.z_low + share * (top - piece.z_low)
    r = piece.radius_at(z)
    return [
        dataclasses.replace(piece, z_high=z, r_high=r), dataclasses.replace(piece, z_low=z, r_low=r)
    ]  # fmt: skip


@few
@given(seed=SEEDS, share=st.floats(0.05, 0.95))
def test_a_finer_list_of_pieces(seed: int, share: float) -> None:
    """Pieces cut in two sweep the same. Coves are left whole: their cones would be others."""
    case = Case.draw(seed)
    finer = {
        n: FakeTool(tuple(q for p in t.pieces for q in ([p] if p.is_cove else in_two(p, share))))
        for n, t in case.tools.items()
    }
    assert_same(case.metal(), case.metal(tools=finer), case, 1e-7)


@few
@given(seed=SEEDS)
def test_a_program_leaves_what_each_move_leaves(seed: int) -> None:
    """Metal of all moves is the metal common to each alone; with what they take, the stock."""
    case = Case.draw(seed, 3)
    stock, whole = case.metal(moves=case.moves[:0]), case.metal()
    alone = [case.metal(moves=case.moves[m : m + 1]) for m in range(3)]
    for k in range(len(case.origins)):
        common = pairs(stock, k)
        for metal in alone:
            common = _common(common, pairs(metal, k))
        left = pairs(whole, k)
        assert math.isclose(_length(common), _length(left), abs_tol=1e-7), (k, common, left, case)
        taken = _length(pairs(stock, k)) - _length(left)
        assert (
            -1e-9
            <= taken
            <= sum(_length(pairs(stock, k)) - _length(pairs(m, k)) for m in alone) + 1e-7
        )


def _common(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    both = [(max(p[0], q[0]), min(p[1], q[1])) for p in a for q in b]
    return np.array([p for p in both if p[0] < p[1]]).reshape(-1, 2)


def _length(ends: np.ndarray) -> float:
    return float((ends[:, 1] - ends[:, 0]).sum())
