"""The designed part."""

from __future__ import annotations

from typing import Iterable

from ._arrays import Array
from ._call import doubles, ffi
from ._handle import Handle
from .values import PartHole, PartInfo, Shape


class Part(Handle):
    """The designed part in machine coordinates, mm. Immutable; may be used from any thread."""

    _noun = "part"

    def describe(self) -> PartInfo:
        """Closed or not, counts, volume, box."""
        return self._value("describe", PartInfo)

    @property
    def points(self) -> Array:
        """Corners of its mesh, n × 3, mm; over the part's memory, read only."""
        return self._view("points_view", "double", 3)

    @property
    def triangles(self) -> Array:
        """Triangles of its mesh, m × 3 corner numbers, uint32; as above."""
        return self._view("triangles_view", "uint32_t", 3)

    @property
    def face_of_triangle(self) -> Array:
        """Number of the face of each triangle, uint32; none for a part without faces; as above."""
        return self._view("face_of_triangle_view", "uint32_t", 1)

    def face(self, index: int) -> tuple[Shape, bool]:
        """Surface of a face (``kind`` is "0" for no ideal shape), and whether the material's outside is against
        the shape's own normal, as in a bore. Error: ARGUMENT past the last."""
        shape, reversed_ = Shape.empty(), ffi.new("int32_t *")
        self._ask("face", index, shape, reversed_)
        return Shape.read(shape), bool(reversed_[0])

    @property
    def holes(self) -> list[PartHole]:
        """Round holes known."""
        count = self.describe().hole_count
        return [self._value("hole", PartHole, index) for index in range(count)]

    def hole_at(self, place_mm: Iterable[float]) -> PartHole:
        """The round hole at a place, among the known ones or in the facets. Error: UNDETERMINED."""
        return self._value("hole_at", PartHole, doubles(place_mm, "place"))

    @property
    def notes(self) -> list[str]:
        """What was met or healed when the part was read."""
        return self._texts("note", self.describe().note_count)
