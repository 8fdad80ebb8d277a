"""Words that set where and how coordinates count: G10, G52, G92, G68, G51, G51.1, G41.

G52, G68, G51 and G51.1 are common practice, no source.
"""

from __future__ import annotations

import math
from typing import Final

from .arcs import ARC_TOLERANCE_MM
from .compensated import CompensatedPath
from .compensation import CompensationOptions, Side
from .lexer import Block
from .modal import g_name
from .motion import AXES, Motion, Point
from .planes import PLANES
from .transforms import Rotation, Scaling, Transform
from .words import Values, Words, first_place, place_of_g, whole

__all__ = ["Modes"]

_SCALE_LIMIT: Final = 1e4


class Modes(Motion):
    """Motion with the words that set its coordinates."""

    _last_d: int | None = None

    # Origins

    def set_origin(self, block: Block, values: Values) -> None:
        """G10 L2: the origin of a work zero, in machine coordinates (NISTIR 6556 3.5.5)."""
        self.refuse_compensated(block, "G10")
        self._refuse_transformed(block, 100)
        if values.get("L") != 2 or "R" in values:
            letter = "R" if values.get("L") == 2 else "L"
            raise block.error(
                "G10 is read with L2 and P alone (an origin); expected G10 L2 P1 X0",
                index=first_place(block, letter + "G"),
            )
        if "P" not in values:
            raise block.error("G10 L2 without P; expected P1 (G54) to P9", "L")
        system = whole(block, values, "P", 1)
        if system > 9:
            raise block.error(f"P {system} is no work zero; expected P1 (G54) to P9", "P")
        add = self._adds_origin(block)
        self.settle(block)
        named = {k: self.length(block, values, a) for k, a in enumerate(AXES) if a in values}
        try:
            self.frames.place(system - 1, named, add=add)
        except ValueError:
            raise block.error(
                "G10 L2 sets a zero in machine coordinates, which are not known here; expected "
                "the setup's home (the tip at machine zero) in the job",
                index=place_of_g(block, 100),
            ) from None
        self.zero = self.frames.origin()

    def _adds_origin(self, block: Block) -> bool:
        if self.modal.absolute:
            return False
        if self.dialect.g10_in_g91 == "refused":
            raise self.fault(
                block,
                "G10 L2 under G91 sets the zero on some controls and adds to it on others; "
                'expected G90, or the setup\'s control with g10_in_g91 = "set" or "add"',
                place_of_g(block, 100),
                "",
            )
        return self.dialect.g10_in_g91 == "add"

    def set_local(self, block: Block, values: Values) -> None:
        """G52: a zero within every work zero; axes not named keep theirs."""
        self.refuse_compensated(block, "G52")
        self._refuse_transformed(block, 520)
        named = {k: self.length(block, values, a) for k, a in enumerate(AXES) if a in values}
        if not named:
            raise block.error("G52 without X, Y or Z; expected at least one of them", "G")
        if any(self.frames.shift):
            raise self._both_shifts(block, 520)
        self.settle(block)
        for axis, value in named.items():
            self.frames.local[axis] = value
        self.zero = self.frames.origin()

    def _both_shifts(self, block: Block, code: int) -> Exception:
        return block.error(
            "G52 and G92 both in force are read in different ways; expected one of them off "
            "(G92.1, or G52 X0 Y0 Z0)",
            index=place_of_g(block, code),
        )

    def set_shift(self, block: Block, values: Values, code: int) -> None:
        """G92 and its family (NISTIR 6556 3.5.18)."""
        self.refuse_compensated(block, g_name(code))
        self._refuse_transformed(block, code)
        if code in (921, 922):
            self.frames.reset_shift(forget=code == 921)
        elif code == 923:
            self.frames.shift = list(self.frames.stored)
        elif not values.keys().isdisjoint(AXES):
            self._shift_to(block, values)
        elif "S" in values:
            self.out.note_word(block.at, "G92 S")
        else:
            raise block.error("G92 without X, Y or Z; expected at least one of them", "G")
        if any(self.frames.local) and any(self.frames.shift):
            raise self._both_shifts(block, code)
        self.zero = self.frames.origin()

    def _shift_to(self, block: Block, values: Values) -> None:
        self.settle(block)
        named = {k: self.length(block, values, a) for k, a in enumerate(AXES) if a in values}
        position = self.out.position
        lost = next((k for k in named if math.isnan(position[k])), None)
        if lost is not None or self.zero is None:
            letter = AXES[lost or 0]
            raise self.fault(
                block,
                f"G92 where {letter} of the tool is not known; expected {letter} given before it",
                first_place(block, letter),
                "place",
            )
        self.frames.set_shift(named, position)

    # Rotation, scaling, mirror

    def _refuse_transformed(self, block: Block, code: int) -> None:
        if self.transform is not None:
            raise self.fault(
                block,
                f"{g_name(code)} under {self.transform.name}; expected it off before",
                place_of_g(block, code),
                "",
            )

    def _put_transform(self, block: Block, code: int, transform: Transform | None) -> None:
        """Put a transform in force; one at a time, since controls nest them differently."""
        self.refuse_compensated(block, g_name(code))
        if self.transform is not None and transform is not None:
            raise self.fault(
                block,
                f"{g_name(code)} under {self.transform.name}; expected one at a time",
                place_of_g(block, code),
                "",
            )
        for bound in (self.transform, transform):
            if bound is not None:
                self.loose = self.loose | bound.bound_axes
        self.transform, self._reached = transform, None

    def set_transforms(self, block: Block, words: Words) -> bool:
        """G68, G69, G50, G51, G50.1, G51.1; return whether one took the axis words."""
        taken = False
        for group in ("mirror", "scaling", "rotation"):
            code = words.g.get(group)
            if code is not None:
                taken = self._set_transform(block, words.values, code) or taken
        return taken

    def _set_transform(self, block: Block, values: Values, code: int) -> bool:
        if code in (690, 500, 501):
            mine = {690: "G68", 500: "G51", 501: "G51.1"}[code]
            if self.transform is not None and self.transform.name == mine:
                self._put_transform(block, code, None)
            if code == 500 and "S" in values:
                self.out.note_word(block.at, "G50 S")
            return code == 501
        if self.zero is None or not self.ready:
            self.settle(block)
            if self.zero is None:
                raise block.error(self.settings.unknown_work_zero(g_name(self.modal.work_offset)))
        self._put_transform(block, code, self._transform(block, values, code))
        return True

    def _transform(self, block: Block, values: Values, code: int) -> Transform:
        if code == 680:
            return self._rotation(block, values)
        if code == 511:
            return self._mirror(block, values)
        return self._scaling(block, values)

    def _rotation(self, block: Block, values: Values) -> Rotation:
        plane = PLANES[self.modal.plane]
        stranger = "XYZ"[plane.along]
        if stranger in values:
            raise block.error(
                f"{stranger} in a rotation in the {plane.says}; expected "
                f"{' and '.join(plane.axes)}",
                stranger,
            )
        if "R" not in values:
            raise block.error("G68 without R; expected the angle in degrees", "G")
        if not self.modal.absolute:
            raise self.fault(
                block,
                "G68 under G91, where R adds to the angle on some controls; expected G90",
                place_of_g(block, 680),
                "",
            )
        if abs(values["R"]) > 3600:
            raise block.error(f"R {values['R']:g} degrees; expected at most 3600", "R")
        axes = [plane.first, plane.second]
        center = self._center_of(block, values, axes, 680)
        return Rotation(plane, plane.flat(center), values["R"])

    def _center_of(self, block: Block, values: Values, axes: list[int], code: int) -> Point:
        """Return a centre given in programmed coordinates, part frame, mm."""
        zero, choice = self.zero or (0.0, 0.0, 0.0), self.dialect.turn_center
        center = [0.0, 0.0, 0.0]
        for axis in range(3):
            letter = AXES[axis]
            if letter in values:
                center[axis] = round(zero[axis] + self.length(block, values, letter), 10)
            elif axis in axes and choice == "refused":
                raise block.error(
                    f"{g_name(code)} without {letter} of its centre: controls differ on where that "
                    f'is; expected {letter}, or the setup\'s control with turn_center = "tool" or '
                    '"zero"',
                    index=place_of_g(block, code),
                )
            else:
                center[axis] = self.path.position[axis] if choice == "tool" else zero[axis]
        if any(math.isnan(center[axis]) for axis in axes):
            raise block.error("a centre at a place that is not known; expected it given", "G")
        return center[0], center[1], center[2]

    def _scaling(self, block: Block, values: Values) -> Scaling:
        if not self.modal.absolute:
            raise self.fault(
                block, "G51 under G91; expected G90 before it", place_of_g(block, 510), ""
            )
        each = [letter for letter in "IJK" if letter in values]
        if each and "P" in values:
            raise block.error(f"P and {each[0]} in one G51; expected P, or I, J and K", "P")
        if not each and "P" not in values:
            raise block.error("G51 without P, or I, J and K; expected the scale", "G")
        letters = ("I", "J", "K") if each else ("P", "P", "P")
        x, y, z = (
            self._factor(block, values, letter) if letter in values else 1.0 for letter in letters
        )
        scaled = [k for k, f in enumerate((x, y, z)) if f != 1]
        return Scaling(self._center_of(block, values, scaled, 510), (x, y, z), "G51")

    def _factor(self, block: Block, values: Values, letter: str) -> float:
        value, choice = values[letter], self.dialect.scale_whole
        index = first_place(block, letter)
        assert index is not None
        pointed = "." in block.words[index][1] or block.spans is not None
        if not pointed and choice == "refused" and abs(value) != 1:
            raise block.error(
                f"{letter} {value:g} without a point is {value:g} on some controls and "
                f"{value / 1000:g} on others; expected a point, or the setup's control with "
                'scale_whole = "one" or "thousandth"',
                letter,
            )
        if not pointed and choice == "thousandth":
            value /= 1000
        if not 1 / _SCALE_LIMIT <= abs(value) <= _SCALE_LIMIT:
            raise block.error(
                f"a scale of {value:g}; expected {1 / _SCALE_LIMIT:g} to {_SCALE_LIMIT:g}", letter
            )
        return value

    def _mirror(self, block: Block, values: Values) -> Scaling:
        named = [k for k, a in enumerate(AXES) if a in values]
        if not named:
            raise block.error("G51.1 without X, Y or Z; expected where to mirror", "G")
        x, y, z = (-1.0 if k in named else 1.0 for k in range(3))
        return Scaling(self._center_of(block, values, named, 511), (x, y, z), "G51.1")

    # Cutter compensation

    def set_side(self, block: Block, words: Words) -> None:
        """G41, G42: from here on by the radius of D; G40 is for `leave_side`."""
        code = words.g["radius compensation"]
        if self.modal.plane != 170:
            raise self.fault(
                block,
                f"{g_name(code)} in {g_name(self.modal.plane)}; expected G17",
                place_of_g(block, code),
                "",
            )
        left = (code == 410) != self._mirrored()
        side: Side = "left" if left else "right"
        register, radius = self._radius(block, words.values)
        if isinstance(self.path, CompensatedPath):
            self.path.change(block, side, radius, register)
        else:
            self.path = CompensatedPath(self.out, block, side, radius, register, self._options())
        self.modal.side = code

    def _mirrored(self) -> bool:
        factor = None if self.transform is None else self.transform.arc_factor(PLANES[170])
        return factor is not None and factor < 0

    def _options(self) -> CompensationOptions:
        dialect = self.dialect
        if dialect.compensation == "nistir_6556":
            return CompensationOptions.nistir_6556(
                unit=self.unit, arc_tolerance=ARC_TOLERANCE_MM[self.unit]
            )
        return CompensationOptions(
            corner=dialect.outside_corner,
            refuse_concave=dialect.inside_corner == "refused",
            arc_tolerance=ARC_TOLERANCE_MM[self.unit],
            unit=self.unit,
        )

    def _radius(self, block: Block, values: Values) -> tuple[int, float]:
        """Return the D register, and by how much it offsets the path, mm."""
        tool = self.out.tool
        register = whole(block, values, "D") if "D" in values else tool
        if "D" in values:
            self._last_d = register
        elif self._last_d not in (None, tool):
            raise block.error(
                f"G41 or G42 without D is D{self._last_d}, the last one, on some controls and "
                f"D{tool}, the tool's, on others; expected D",
                "G",
            )
        if "D" in values and register == 0:
            return 0, 0.0
        if not tool:
            raise block.error("G41 or G42 without a tool; expected T and M6 before it", "G")
        error = self.settings.d_errors.get(register, 0.0)
        if self.dialect.d_holds == "wear":
            return register, error
        radius = self.settings.radii.get(tool)
        if radius is None:
            raise block.error(
                f"the radius of tool {tool} is not known; expected a job with its diameter",
                index=first_place(block, "DG"),
            )
        return register, radius + error

    def leave_side(self, block: Block, end: Point | None, *, rapid: bool) -> None:
        """G40: the path as programmed again."""
        self.modal.side = 400
        if isinstance(self.path, CompensatedPath):
            path, self.path = self.path, self.out
            path.finish(block, end, rapid=rapid)
