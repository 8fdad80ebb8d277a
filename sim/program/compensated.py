"""The path under cutter compensation: programmed moves in, moves of the cutter's centre out."""

from __future__ import annotations

import dataclasses

from .compensation import CompensationError, CompensationOptions, Compensator, OffsetMove, Side
from .lexer import Block
from .recorder import Recorder
from .reports import ReadError
from .words import first_place

__all__ = ["CompensatedPath"]

Point = tuple[float, float, float]


@dataclasses.dataclass(frozen=True)
class _Info:
    """What a move made later needs of its block."""

    block: Block
    state: tuple[float, ...] | None
    z: float
    rapid: bool
    register: int


def _name(info: _Info) -> str:
    return f"line {info.block.line}"


class CompensatedPath:
    """Takes moves as the recorder does and gives it those of the cutter's centre.

    Attributes
    ----------
    position : (x, y, z)
        Programmed, mm.
    """

    def __init__(
        self,
        out: Recorder,
        block: Block,
        side: Side,
        radius: float,
        register: int,
        options: CompensationOptions,
    ) -> None:
        self.out, self.position = out, out.position
        self._register, self._side = register, 1 if side == "left" else -1
        options = dataclasses.replace(options, name=_name)
        self._spent = False  # an error was met: from here on nothing is compensated
        try:
            self._made: Compensator[_Info] = Compensator(
                side, radius, (self.position[0], self.position[1]), options
            )
        except CompensationError as error:
            raise self._error(error, block) from None

    @property
    def count(self) -> int:
        """How many moves there will be up to the programmed point."""
        return self.out.count + (0 if self._spent else self._made.waiting)

    def go(
        self,
        block: Block,
        end: Point,
        *,
        rapid: bool,
        center: tuple[float, float] = (0.0, 0.0),
        turn: float = 0.0,
    ) -> None:
        """Go to a programmed point, as `Recorder.go`."""
        start, self.position = self.position, end
        info = _Info(block, self.out.state(block, end, rapid=rapid), end[2], rapid, self._register)
        xy = end[0], end[1]
        if self._spent:
            return
        try:
            if turn:
                moves = self._made.arc(xy, center, turn, info)
            elif xy == start[:2]:
                moves = self._made.idle(info)
            else:
                moves = self._made.line(xy, info, rapid=rapid)
        except CompensationError as error:
            raise self._error(error, block) from None
        self._put(moves)

    def change(self, block: Block, side: Side, radius: float, register: int) -> None:
        """G41 or G42 again, with another D."""
        if self._spent:
            return
        try:
            self._made.change(side, radius, _Info(block, None, 0.0, False, register))
        except CompensationError as error:
            raise self._error(error, block) from None
        self._register = register

    def finish(self, block: Block, end: Point | None, *, rapid: bool) -> None:
        """G40: with the programmed point of its block, if it has one."""
        state = None if end is None else self.out.state(block, end, rapid=rapid)
        z = self.position[2] if end is None else end[2]
        info = _Info(block, state, z, rapid, self._register)
        if self._spent:
            self.out.position = self.position if end is None else end
            return
        try:
            moves = self._made.finish(None if end is None else (end[0], end[1]), info)
        except CompensationError as error:
            raise self._error(error, block) from None
        self._put(moves)
        x, y, _ = self.out.position
        if end is not None and (x, y, z) != self.out.position:
            self.out.put(state, (x, y, z), rapid=rapid, center=(0.0, 0.0), turn=0.0)
        self.out.set_side(0, 0)

    def _put(self, moves: list[OffsetMove[_Info]]) -> None:
        for move in moves:
            info = move.info
            z = self.out.position[2] if move.kind == "corner" else info.z
            self.out.set_side(info.register, self._side)
            self.out.put(
                info.state,
                (move.end[0], move.end[1], z),
                rapid=info.rapid,
                center=move.center,
                turn=move.turn,
            )

    def _error(self, error: CompensationError, block: Block) -> ReadError:
        self._spent = True
        found = next((i for i in error.infos[::-1] if isinstance(i, _Info)), None)
        at = found.block if found else block
        index = first_place(at, "XYIJRGDZ")
        return at.error(str(error), index=index, hangs="compensation")
