"""Blocks of a program as a shop's post writes them: modal words, five decimals, headings."""

from __future__ import annotations

from plan_paths import Path, Point

SAFE = 1.0
"""z between passes, above the stock."""


def number(value: float) -> str:
    """Return a coordinate: at most five decimals, always with its point, never ``-0.``."""
    return f"{round(value, 5) + 0.0:.5f}".rstrip("0")


class Post:
    """Writes blocks and remembers what is in force."""

    def __init__(self, program: int, title: str) -> None:
        self.lines = ["%", f"O{program} ({title})"]
        self._at: dict[str, str] = {}
        self._motion = ""
        self._feed = ""
        self._tools = 0

    def raw(self, *lines: str) -> None:
        """Write lines as they are."""
        self.lines += lines

    def text(self) -> str:
        """Return the program."""
        return "\n".join(self.lines) + "\n"

    def tool(self, tool_number: int, name: str, spindle: int, first: Point) -> None:
        """Change the tool, turn it on and bring it over `first`."""
        self._tools += 1
        if self._tools > 1:
            self.raw("M9", "M5", "G91 G28 Z0.", "G90", "M1")
        self._at, self._motion, self._feed = {}, "", ""
        self.raw("", f"N{self._tools * 100} T{tool_number} M6 ({name.upper()})")
        x, y = (number(v) for v in first)
        self.raw(f"G0 G90 G54 X{x} Y{y} S{spindle} M3")
        self.raw(f"G43 H{tool_number} Z{number(SAFE)} M8")
        self._at, self._motion = {"X": x, "Y": y, "Z": number(SAFE)}, "G0"

    def heading(self, name: str) -> None:
        """Begin a pass: a comment alone in its block, with the tool up."""
        if self._at.get("Z") != number(SAFE):
            self.rapid(z=SAFE)
        self.raw(f"({name})")

    def rapid(self, x: float | None = None, y: float | None = None, z: float | None = None) -> None:
        """Write a G0 with the words that change."""
        self._block("G0", {"X": x, "Y": y, "Z": z})

    def over(self, point: Point, z: float) -> None:
        """Go up, over a point, and down to `z` in rapids."""
        if self._at.get("Z") != number(SAFE):
            self.rapid(z=SAFE)
        self.rapid(*point)
        self.rapid(z=z)

    def feed(
        self,
        x: float | None = None,
        y: float | None = None,
        z: float | None = None,
        *,
        f: float | None = None,
    ) -> None:
        """Write a G1 with the words that change."""
        self._block("G1", {"X": x, "Y": y, "Z": z}, f)

    def arc(
        self,
        to: Point,
        center: Point,
        *,
        clockwise: bool = False,
        z: float | None = None,
        f: float | None = None,
    ) -> None:
        """Write a G2 or G3 about a center; I and J from where the tool stands as written."""
        here = (float(self._at["X"]), float(self._at["Y"]))
        i, j = center[0] - here[0], center[1] - here[1]
        words = [f"X{number(to[0])}", f"Y{number(to[1])}"]
        if z is not None:
            words.append(f"Z{number(z)}")
        words += [f"I{number(i)}", f"J{number(j)}"]
        motion = "G2" if clockwise else "G3"
        head = [motion] if motion != self._motion else []
        self.lines.append(" ".join([*head, *words, *self._feed_word(f)]))
        self._motion = motion
        self._at.update(X=number(to[0]), Y=number(to[1]))
        if z is not None:
            self._at["Z"] = number(z)

    def follow(self, path: Path, *, f: float | None = None) -> None:
        """Write the steps of a path from its start, where the tool already is."""
        for step in path.steps:
            if step.center is None:
                self.feed(*step.to, f=f)
            else:
                self.arc(step.to, step.center, clockwise=step.clockwise, f=f)
            f = None

    def _feed_word(self, f: float | None) -> list[str]:
        if f is None or number(f) == self._feed:
            return []
        self._feed = number(f)
        return [f"F{self._feed}"]

    def _block(self, motion: str, wanted: dict[str, float | None], f: float | None = None) -> None:
        words = []
        for axis, value in wanted.items():
            if value is not None and self._at.get(axis) != number(value):
                self._at[axis] = number(value)
                words.append(axis + self._at[axis])
        if not words:
            return
        head = [motion] if motion != self._motion else []
        self._motion = motion
        self.lines.append(" ".join([*head, *words, *self._feed_word(f)]))
