"""The order of the blocks: one after the other, loops, jumps, calls; and what stops it.

The limits: `REPEATED_LIMIT` blocks more than the files have lines, `MOVE_LIMIT` moves more than a
few hundred for each line, and `DEPTH_LIMIT` calls within each other. A loop that turns without
changing anything is found at once.
"""

from __future__ import annotations

import dataclasses
import functools
import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from ..errors import BadInput, ProgramError
from .calls import Jump, Library
from .executor import Executor
from .lexer import CLEAN, LINE_LIMIT, WORD, WORDS, Block, Source, bare_line, read_block
from .parameters import Parameters
from .reports import Problems, ReadError
from .statement import Control, evaluate, loop_word
from .words import take_words

if TYPE_CHECKING:
    from .plain import PlainBlocks  # loads numba

__all__ = ["DEPTH_LIMIT", "REPEATED_LIMIT", "Runner"]

REPEATED_LIMIT: Final = 1_000_000
"""Most blocks that are run again by loops, jumps back and calls: more is a loop without end."""
MOVE_LIMIT: Final = 10_000_000
"""Most moves that loops make, beside `MOVES_PER_LINE`."""
MOVES_PER_LINE: Final = 300
DEPTH_LIMIT: Final = 20
"""Most calls within each other."""
FAILURE_LIMIT: Final = 1000
"""Blocks that fail before the reader gives up."""


_DECIDES: Final = re.compile(r"=|(?:N\d+)?(?:IF|GOTO|WHILE|DO|END)")


class _Stop(Exception):
    """The program can't be followed any further."""


@dataclasses.dataclass
class _Frame:
    """A program in progress.

    Attributes
    ----------
    source : Source
    begin, stop, at : int
        Its lines, and the next one; indices.
    entry : int
        Where each repeat begins.
    repeats : int
        How many are left, this one too.
    call : Block or None
        What called it; None: the main program.
    macro : bool
        It has #1 to #33 of its own.
    recorded : int
        Line that its moves are recorded under; 0: their own.
    arguments : mapping of int to float, optional
        Of a macro.
    """

    source: Source
    begin: int
    stop: int
    at: int
    entry: int = 0
    repeats: int = 1
    call: Block | None = None
    macro: bool = False
    recorded: int = 0
    arguments: Mapping[int, float] | None = None


class Runner:
    """Runs a program through an executor.

    Parameters
    ----------
    source : Source
        The main program.
    executor : Executor
    parameters : Parameters
    called : Library
        Finds called programs.

    Attributes
    ----------
    problems : Problems
        What was found wrong.
    ended : bool
        M2, M30, or M99 in the main program, was met.
    blocks : int
        Blocks executed.
    """

    def __init__(
        self, source: Source, executor: Executor, parameters: Parameters, called: Library
    ) -> None:
        self.executor, self.parameters, self._called = executor, parameters, called
        self.main = source
        self.problems = Problems()
        self.ended = False
        self.blocks = 0
        self._frames = [_Frame(source, source.first, source.stop, source.first)]
        self._lines = len(source.lines)  # of all files
        self._counted = {id(source)}
        self._failures = 0
        self._loops: dict[int, dict[int, int]] = {}  # id of a source -> other end of a loop
        self._turned: dict[tuple[int, int], tuple[object, ...]] = {}
        self._last = Block(source.shown, 1, "")

    @functools.cached_property
    def _plain(self) -> PlainBlocks:
        from .plain import PlainBlocks

        return PlainBlocks(self.executor)

    def run(self) -> None:
        """Run to the end; errors are gathered in `problems`."""
        try:
            while self._frames:
                self._run_frame(self._frames[-1])
        except _Stop:
            self._scan()
        try:
            self.executor.finish(self._last)
        except ReadError as error:
            self.problems.add(error)

    def _run_frame(self, frame: _Frame) -> None:
        """Run blocks of one program until it jumps or ends."""
        lines, stop = frame.source.lines, frame.stop
        shown, recorded, execute = frame.source.shown, frame.recorded, self.executor.execute
        plain = frame.source.plain
        while frame.at < stop:
            if plain is not None and not self.problems.doubt:
                frame.at, blocks = self._plain.run(plain, frame.at, stop, recorded)
                self.blocks += blocks
                if frame.at == stop:
                    break
            text = lines[frame.at]
            frame.at += 1
            clean = text.translate(CLEAN)
            if not clean:
                continue
            self.blocks += 1
            try:
                if "65" not in clean and WORDS.fullmatch(clean) and len(text) <= LINE_LIMIT:
                    # Plain words, as in most lines of most programs.
                    block = Block(shown, frame.at, text, recorded, WORD.findall(clean))
                    jump = execute(block)
                    self._last = block
                    if jump is None and not self.problems.doubt:
                        continue
                else:
                    block, jump = self._line(frame, text, clean)
                if self._goes_on_elsewhere(frame, block, jump):
                    return
            except ProgramError as error:
                self._failed(error)
        self._fell_off(frame)

    def _line(self, frame: _Frame, text: str, clean: str) -> tuple[Block, Jump | None]:
        """Run a line that may hold more than plain words."""
        block = read_block(frame.source.shown, frame.at, text, clean, frame.recorded)
        if block.deleted and not self.executor.keep_deleted(block):
            return block, None
        if block.rest:
            control = self._evaluated(block)
            if control.kind:
                self._control(frame, block, control)
                return block, None
        self._last = block
        jump = self.executor.macro(block) if "65" in clean else None
        return block, self.executor.execute(block) if jump is None else jump

    def _goes_on_elsewhere(self, frame: _Frame, block: Block, jump: Jump | None) -> bool:
        if self.problems.doubt:
            self._settle_doubt(block)
        if jump is None:
            return False
        self._jump(frame, block, jump)
        return True

    def _settle_doubt(self, block: Block) -> None:
        """After a straight move that names all axes the place of the tool is sure again."""
        letters = {letter for letter, _ in block.words}
        modal = self.executor.modal
        if {"G", "X", "Y", "Z"} <= letters and modal.motion in (0, 10) and modal.absolute:
            self.problems.doubt = False

    def _evaluated(self, block: Block) -> Control:
        try:
            return evaluate(block, self.parameters)
        except ReadError as error:
            self.problems.add(error)
            if _DECIDES.search(block.rest):
                raise _Stop from None  # what hangs on it can't be followed
            raise

    # Errors

    def _failed(self, error: ProgramError) -> None:
        called = self._frames[-1].call if self._frames else None
        if called is not None and isinstance(error, ReadError):
            error.add(f"called from {called.file}:{called.line}")
        self.problems.add(error)
        self._failures += 1
        if self.problems.full or self._failures > FAILURE_LIMIT:
            raise _Stop

    def _add(self, error: ReadError) -> None:
        """Take an error after which the program can't be followed."""
        called = self._frames[-1].call if self._frames else None
        if called is not None:
            error.add(f"called from {called.file}:{called.line}")
        self.problems.add(error)
        raise _Stop

    def _scan(self) -> None:
        """Look through the rest of the main program for words that can't be read at all."""
        frame = self._frames[0]
        for index in range(frame.at, frame.stop):
            text = frame.source.lines[index]
            clean = text.translate(CLEAN)
            if self.problems.full:
                return
            try:
                block = read_block(frame.source.shown, index + 1, text, clean)
                if not block.rest and "G65" not in clean:
                    _, _, m_words, _ = take_words(block, self.executor.settings.accept)
                    if m_words.get("stop") in (2, 30):
                        return
            except ProgramError as error:
                self.problems.add(error)

    # Ends and calls

    def _fell_off(self, frame: _Frame) -> None:
        if frame.call is None:
            self._frames.clear()
            return
        called = frame.call
        index = next((i for i, w in enumerate(called.words) if w[0] == "P"), None)
        self._add(
            called.error("the called program has no M99; expected it at its end", index=index)
        )

    def _check_limits(self, block: Block) -> None:
        """Stop what has no end: every loop and call comes through here."""
        if self.blocks > self._lines + REPEATED_LIMIT:
            what = f"ran {REPEATED_LIMIT:,} blocks again"
        elif self.executor.out.count > MOVE_LIMIT + MOVES_PER_LINE * self._lines:
            what = f"made over {MOVE_LIMIT:,} moves"
        else:
            return
        self._add(block.error(f"loops and calls {what} and have not ended; expected an end"))

    def _jump(self, frame: _Frame, block: Block, jump: Jump) -> None:
        if jump.kind == "end":
            self.ended = True
            self._frames.clear()
        elif jump.kind == "return":
            self._return(frame, block, jump.number)
        else:
            self._call(frame, block, jump)

    def _return(self, frame: _Frame, block: Block, number: int) -> None:
        """M99: the next repeat, back to the caller, or in the main program its end."""
        if frame.call is None:
            if number:
                self._go(frame, block, number)
                return
            self.executor.out.note_once(
                "M99", block.at, "M99 in the main program would repeat it: taken as its end"
            )
            self.ended = True
            self._frames.clear()
            return
        frame.repeats -= 1
        if frame.repeats and not number:
            self._check_limits(block)
            frame.at = frame.entry
            if frame.macro:
                self.parameters.leave(macro=True)
                self.parameters.enter(frame.arguments)
            return
        self._frames.pop()
        self._turned.clear()
        self.parameters.leave(macro=frame.macro)
        self._set_o_line()
        if number:
            self._go(self._frames[-1], block, number)

    def _set_o_line(self) -> None:
        frame = self._frames[-1]
        self.executor.o_line = frame.entry + 1 if frame.call is not None else 0

    def _call(self, frame: _Frame, block: Block, jump: Jump) -> None:
        if len(self._frames) > DEPTH_LIMIT:
            self._add(
                block.error(
                    f"more than {DEPTH_LIMIT} calls within each other; does a program call itself?",
                    "P",
                )
            )
        self._check_limits(block)
        self._turned.clear()
        new = self._local(frame, block, jump) if jump.kind == "local" else self._found(block, jump)
        new.repeats, new.call = jump.repeats, block
        new.macro, new.arguments = jump.arguments is not None, jump.arguments
        if frame.recorded:
            new.recorded = frame.recorded
        elif new.source is not self.main:
            new.recorded = block.line
        self.parameters.enter(jump.arguments)
        self._frames.append(new)
        self._set_o_line()

    def _local(self, frame: _Frame, block: Block, jump: Jump) -> _Frame:
        at = self._place(frame, block, jump.number)
        return _Frame(frame.source, frame.begin, frame.stop, at, at)

    def _found(self, block: Block, jump: Jump) -> _Frame:
        sources = list({id(f.source): f.source for f in self._frames[::-1]}.values())
        if self.main not in sources:
            sources.append(self.main)
        try:
            found = self._called.find(jump.number, sources)
        except BadInput as error:  # a binary file
            found, why = None, str(error)
        except ValueError as error:
            found, why = None, f"{error}; expected it once"
        else:
            why = (
                f"O{jump.number} is neither in the program nor a file in the job's folder; "
                f"expected O{jump.number} after M30, or a file such as O{jump.number}.nc"
            )
        if found is None:
            self._add(block.error(why, "P"))
            raise _Stop
        source, begin, stop = found
        if id(source) not in self._counted:
            self._counted.add(id(source))
            self._lines += len(source.lines)
        return _Frame(source, begin, stop, begin, begin)

    # Jumps and loops

    def _place(self, frame: _Frame, block: Block, number: int) -> int:
        """Return the line (index) of an N number of a program."""
        begin = frame.begin
        stop = frame.stop if frame.call is not None else frame.source.end_of(frame.at - 1)
        places = [p for p in frame.source.numbers().get(number, []) if begin <= p < stop]
        if len(places) != 1:
            lines = ", ".join(str(p + 1) for p in places[:5])
            why = (
                f"N{number} stands in lines {lines}; expected it once"
                if places
                else (f"no block N{number} in this program; expected one")
            )
            self._add(block.error(why, block.words[-1][0] if block.words else ""))
        return places[0]

    def _go(self, frame: _Frame, block: Block, number: int) -> None:
        place = self._place(frame, block, number)
        if place < frame.at:
            self._back(frame, block, place)
        frame.at = place

    def _back(self, frame: _Frame, block: Block, place: int) -> None:
        """Before a jump back: refuse one after which everything is as it was last time."""
        self._check_limits(block)
        executor = self.executor
        now = (
            self.parameters.changes,
            len(executor.out.rows),
            executor.modal.says(executor.unit),
            tuple(executor.frames.stored),
        )
        key = id(frame), frame.at
        if self._turned.get(key) == now:
            error = block.error("a loop without end: nothing changes from turn to turn")
            self._add(error)
        self._turned[key] = now

    def _control(self, frame: _Frame, block: Block, control: Control) -> None:
        if block.comments:
            self.executor.out.comments(block)
        if control.kind == "goto":
            self._go(frame, block, control.number)
        elif control.kind == "end":
            place = self._partner(frame, block)
            self._back(frame, block, place)
            frame.at = place
        elif not control.truth:
            frame.at = self._partner(frame, block) + 1
        else:
            self._partner(frame, block)

    def _partner(self, frame: _Frame, block: Block) -> int:
        """Return the line (index) of the other end of the loop that a line begins or ends."""
        loops = self._loops.get(id(frame.source))
        if loops is None:
            loops = self._loops[id(frame.source)] = _match_loops(frame.source)
        found = loops.get(frame.at - 1)
        if found is None:
            self._add(block.error("a loop without its other end; expected DO1 and END1 both"))
            raise _Stop
        return found


def _match_loops(source: Source) -> dict[int, int]:
    """Return the other end's line for each line that begins or ends a loop; indices.

    A number may come again where its loop has ended, and a loop lies within another as a whole;
    lines for which that does not hold are left out.
    """
    starts = {place for places in source.programs().values() for place in places}
    pairs: dict[int, int] = {}
    opened: list[tuple[int, int]] = []
    for index in range(source.first, source.stop):
        if index in starts:
            opened.clear()
        line = source.lines[index].upper()
        if "DO" not in line.replace(" ", "") and "END" not in line.replace(" ", ""):
            continue
        word = loop_word(bare_line(line))
        if word is None:
            continue
        if word[0] == "do":
            opened.append((word[1], index))
        elif opened and opened[-1][0] == word[1]:
            _, begun = opened.pop()
            pairs[begun], pairs[index] = index, begun
    return pairs
