"""Reader of RS-274 (ISO 6983) programs, after NISTIR 6556: text to moves.

`lexer` makes blocks of words, `statement` and `expressions` work out what is not plain, `flow`
says which block comes next (`calls`: subprograms), and `executor` executes it: `words` and `modal`
sort what stands in it, `motion` with `arcs` and `planes` moves, `modes` sets what coordinates
count from (`frames`, `transforms`), `holes` does the cycles of `cycles`. `recorder` takes the
moves, and `headings` says what a pass is. `table` lists every word; `fuzz` makes programs of
`fuzz_programs` until one breaks the reader. A word that may change motion
and is not handled is an error with file, line and column, never left out.
"""

from ..dialect import Dialect
from .reader import Noted, Reading, read_file, read_program, read_source, read_text, text_of
from .reports import ProgramErrors, ReadError
from .settings import ReaderSettings
from .table import word_table

__all__ = [
    "Dialect",
    "Noted",
    "ProgramErrors",
    "ReadError",
    "ReaderSettings",
    "Reading",
    "read_file",
    "read_program",
    "read_source",
    "read_text",
    "text_of",
    "word_table",
]
