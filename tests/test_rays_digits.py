"""A second opinion on the oracle of rays: the same places with 32 digits."""

from __future__ import annotations

from collections import Counter

import mpmath
import numpy as np
import oracle_cast as cast
from oracle_digits import inside_mp
from oracle_rays import World

NO_HINTS = np.empty(0)


def test_the_oracle_agrees_with_thirty_digits() -> None:
    """Just inside and just outside of its ends, 32 digits say the same, grazing rays included."""
    rng = np.random.default_rng(8)
    tried: Counter[str] = Counter()
    for shape in cast.SHAPES:
        name = str(rng.choice(list(cast.MOVES)))
        tools = {1: cast.random_tool(rng, shape)}
        moves = cast.random_moves(rng, name)
        world = World.of(moves, tools, cast.stock_box(moves, tools))
        drawn = cast.random_rays(rng, world, 14)
        found = world.intervals(drawn.origins, drawn.ways, [NO_HINTS] * 14)
        cut = [k for k in range(14) if len(found[k]) > 1]
        for k in cut[-2:]:
            for end, sign in ((found[k][0, 1], 1), (found[k][1, 0], -1)):
                with mpmath.workdps(32):
                    before, past = (
                        [
                            mpmath.mpf(o) + (end + sign * by) * mpmath.mpf(v)
                            for o, v in zip(drawn.origins[k], drawn.ways[k], strict=True)
                        ]
                        for by in (-mpmath.mpf(1e-8), mpmath.mpf(1e-8))
                    )
                assert not inside_mp(world, before), (shape, name, k)
                assert inside_mp(world, past), (shape, name, k)
                tried[str(drawn.names[k])] += 1
    assert sum(tried.values()) > 40
    assert tried["grazing"] > 6
