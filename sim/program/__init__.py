"""Reader of RS-274 (ISO 6983) programs, after NISTIR 6556: text to moves.

`lexer` makes blocks of words, `executor` executes them on the state of `modal` with the geometry
of `arcs`, `planes` and `cycles`, `recorder` takes the moves, and `headings` says what a pass is. A
word that may change motion and is not handled is an error with file, line and column, never left
out.
"""

from .reader import read_program, read_text
from .settings import ReaderSettings

__all__ = ["ReaderSettings", "read_program", "read_text"]
