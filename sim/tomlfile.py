"""TOML files: read one, with an error that shows the place; and its keys and values as text."""

from __future__ import annotations

import datetime
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final

from .errors import JobError, closest

__all__ = [
    "LIMIT_BYTES",
    "clean",
    "key_path",
    "load_toml",
    "named_file",
    "neighbour",
    "say_value",
]

LIMIT_BYTES: Final = 16 * 1024 * 1024
"""Largest TOML file read; a job is a few kilobytes."""


def clean(text: object, limit: int = 120) -> str:
    """Return `text` on one line without control characters, cut off at `limit` characters."""
    shown = "".join(c if c.isprintable() else " " for c in str(text))
    return shown if len(shown) <= limit else shown[: limit - 3] + "..."


def say_value(value: Any) -> str:
    """Return a value of a TOML file as it is written there, cleaned and shortened."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{clean(value, 60)}"'
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        inner = ", ".join(say_value(v) for v in value[:6])
        return f"[{inner}, ...]" if len(value) > 6 else f"[{inner}]"
    if isinstance(value, int) and abs(value) > 10**18:
        return "a whole number of over 18 digits"
    if isinstance(value, datetime.date | datetime.time):
        return f"{clean(value.isoformat())} (a date or time)"
    return clean(value, 60)


def key_path(parts: Iterable[str | int]) -> str:
    """Return a key path such as ``tools[2].diameter``.

    Parameters
    ----------
    parts : iterable of str or int
        Keys, and indices of array items from 0 (shown from 1).
    """
    path = ""
    for part in parts:
        if isinstance(part, int):
            path += f"[{part + 1}]"
        else:
            word = part if re.fullmatch(r"[A-Za-z0-9_-]+", part) else f'"{clean(part, 60)}"'
            path += f".{word}" if path else word
    return path


def load_toml(path: Path, *, shown: str | None = None) -> dict[str, Any]:
    """Read a TOML file.

    Parameters
    ----------
    path : Path
        The file.
    shown : str, optional
        The file as the person named it, for errors.

    Returns
    -------
    dict
        Its tables and keys.

    Raises
    ------
    JobError
        Missing, a folder, over 16 MB, not UTF-8 text, or not TOML (with line and column).
    """
    name = clean(str(path) if shown is None else shown, 300)
    text = _text(_content(path, name), name)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise JobError(_syntax(str(error), text), file=name) from None
    except RecursionError:
        raise JobError("lists or tables are nested too deeply to be read", file=name) from None
    except ValueError:  # an integer of thousands of digits
        raise JobError("a number in it is too long to be read", file=name) from None


def _content(path: Path, name: str) -> bytes:
    try:
        if path.is_dir():
            raise JobError("is a folder; name a file in it", file=name)
        if not path.exists():
            raise JobError(f"no such file{neighbour(path)}", file=name)
        if not path.is_file():
            raise JobError("is not an ordinary file", file=name)
        size = path.stat().st_size
        if size > LIMIT_BYTES:
            text = f"is {size / 2**20:.1f} MB; up to {LIMIT_BYTES // 2**20} MB are read. "
            raise JobError(text + "Is it the right file?", file=name)
        return path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or error
        raise JobError(f"can't be read: {clean(reason)}", file=name) from None


def named_file(text: str, folder: Path, *, within: Path | None) -> tuple[Path | None, str]:
    """Return a file that a TOML file names, and why it can't be used.

    Parameters
    ----------
    text : str
        As it is written there.
    folder : Path
        The folder from which it is counted.
    within : Path or None
        The job's folder, which it may not leave, also not through a link; None: it may.

    Returns
    -------
    path : Path or None
        None: the text is no file's name.
    fault : str
        Empty: it is there and may be used.
    """
    named = folder / text if text.isprintable() else None
    fault = _no_file_name(text) or ("" if within is None else _outside(text, folder, within))
    try:
        if not fault and named is not None and named.is_dir():
            fault = f"{say_value(text)} is a folder; name a file in it"
        elif not fault and named is not None and not named.is_file():
            fault = f"{say_value(text)} is not there; it is looked for as {clean(named, 300)}"
            fault += neighbour(named)
            if "\\" in text:
                fault += "; write / between folders, not \\"
    except OSError as error:
        fault = f"{say_value(text)} can't be read: {clean(error.strerror)}"
    return named, fault


def _no_file_name(text: str) -> str:
    if not text.strip():
        return "is an empty text; name a file"
    if not text.isprintable():
        return f"{say_value(text)} has a character that no file's name should have"
    return ""


def _outside(text: str, folder: Path, within: Path) -> str:
    """Return why a path leaves the job's folder, or an empty text."""
    cure = "copy the file into the job's folder, or give --allow-outside"
    if Path(text).is_absolute():
        return f"{say_value(text)} is not relative to the job's folder; {cure}"
    try:
        inside = (folder.resolve() / text).resolve().is_relative_to(within.resolve())
    except (OSError, RuntimeError):  # links that lead to each other
        return f"{say_value(text)} can't be followed; its links lead in a circle"
    return "" if inside else f"{say_value(text)} leaves the job's folder; {cure}"


def neighbour(path: Path) -> str:
    """Return a hint at what stands in place of a missing file: the closest name, or no folder."""
    if not path.parent.is_dir():
        return f"; there is no folder {clean(path.parent, 200)}"
    try:
        # A folder of very many files isn't searched to its end.
        names = [p.name for p, _ in zip(path.parent.iterdir(), range(1000), strict=False)]
    except OSError:
        return ""
    return clean(closest(path.name, names))


def _text(content: bytes, name: str) -> str:
    if b"\0" in content:
        raise JobError("is not a text file; a TOML file is needed", file=name)
    try:
        # An editor may put a byte order mark first; TOML has no use for it.
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        text = f"line {line}: byte 0x{content[error.start]:02x} is not UTF-8; save it as UTF-8 text"
        raise JobError(text, file=name) from None


_SYNTAX: Final = (
    (r"Cannot overwrite a value|Duplicate inline table key.*", "this key is given twice"),
    (r"Cannot (declare|mutate|redefine|extend|define).*", "this table or key is given twice"),
    (r"Expected newline or end of document.*", "something follows the value"),
    (r"Expected '=' after a key.*", "a key needs '=' and a value after it"),
    (r"Invalid statement", "this is neither a key nor a [table]"),
    (r"Invalid value", "this is not a value; a text needs quotes"),
)
_BARE_LENGTH: Final = re.compile(r"=\s*\[?[^\"'#]*?([-+]?[\d.]+) *([A-Za-z\u00b5\u03bc]+)")


def _syntax(message: str, text: str) -> str:
    """Return a TOML reader's message with its place first, the line, and the usual cure."""
    found = re.search(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    reason = message[: found.start()] if found else message
    lines = text.split("\n")
    row = int(found[1]) if found and found[1] else len(lines)
    column = int(found[2]) if found and found[2] else len(lines[-1]) + 1
    for pattern, plain in _SYNTAX:
        if re.fullmatch(pattern, reason):
            reason = plain
    source = lines[row - 1] if row <= len(lines) else ""
    shown = f"line {row}, column {column}: {clean(reason)}"
    bare = _BARE_LENGTH.search(source)
    if bare and bare[2] not in ("e", "E", "true", "false"):
        shown += f'; a length with its unit needs quotes: "{bare[1]} {bare[2]}"'
    if source.strip():
        shown += f"\n    {clean(source, 200)}"
        if column <= 200:
            shown += f"\n    {' ' * (column - 1)}^"
    return shown
