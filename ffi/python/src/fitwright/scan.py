"""Scans: points with optional triangles and normals."""

from __future__ import annotations

from typing import Any, Iterable

from ._arrays import Array, address, ids
from ._call import doubles, ffi, lib, number, pose, sized
from ._handle import Handle
from .region import Region, region_of
from .survey import Survey
from .values import ScanInfo, Shape


class Scan(Handle):
    """Points with optional triangles and normals, in the scanner's coordinates, mm.

    Immutable; may be used from any thread. What follows from it (normals, neighbours, noise) is computed once,
    when first asked for. Arrays that come out lie in the scan's memory, are read only, and keep it alive.
    """

    _noun = "scan"

    @property
    def points(self) -> Array:
        """n × 3, mm."""
        return self._view("points_view", "double", 3)

    @property
    def triangles(self) -> Array:
        """m × 3 point numbers, uint32; none for a point cloud."""
        return self._view("triangles_view", "uint32_t", 3)

    @property
    def normals(self) -> Array:
        """n × 3 unit normals, outward: given, or from triangles or neighbours; zero where undefined."""
        return self._session.run(lambda: self._view("normals_view", "double", 3))

    @property
    def noise_mm(self) -> float:
        """Standard deviation of the points normal to the surface, estimated from the scan alone."""
        return float(self._number("noise", "double"))

    @property
    def resolution_mm(self) -> float:
        """Median spacing of neighbouring points."""
        return float(self._number("resolution", "double"))

    def describe(self) -> ScanInfo:
        """Counts, and what is borrowed."""
        return self._value("describe", ScanInfo)

    @property
    def notes(self) -> list[str]:
        """What was dropped, ignored or healed when the scan was read."""
        return self._texts("note", self.describe().note_count)

    def nearest(self, place_mm: Iterable[float]) -> tuple[int, float]:
        """Number and distance, mm, of the point nearest to a place."""
        point, distance = ffi.new("uint32_t *"), ffi.new("double *")
        place = doubles(place_mm, "place")
        self._session.run(lambda: self._ask("nearest", place, point, distance))
        return point[0], distance[0]

    def move(self, moved_from_scan: Any) -> Scan:
        """The scan moved by a rigid motion, 4 × 4. Errors: ARGUMENT, LIMIT."""
        return Scan._made(self._session, lib.fitw_scan_move, self._raw, pose(moved_from_scan))

    def survey(self, *, smallest_mm: float = 0.0) -> Survey:
        """Every plane, cylinder, cone, sphere and torus. Those that measure less than `smallest_mm` across are left
        out; 0: those of fewer than some forty points. Errors: ARGUMENT, CANCELLED."""
        options = sized("fitw_survey_options", smallest_mm=smallest_mm)
        return Survey._made(self._session, lib.fitw_survey_run, self._raw, options)

    def grow(
        self, pick_mm: Iterable[float], kind: str, *, distance_mm: float = 0.0, angle_rad: float = 0.0,
        pick_distance_mm: float = 0.0, trim_mm: float = 0.0,
    ) -> Region:
        """A region grown from a pick near the surface, along a surface of `kind`: "plane", "sphere", "cylinder",
        "cone", "torus".

        `distance_mm`: largest distance of a point from the shape; 0: 4 times the noise plus 5 % of the
        resolution. `angle_rad`: largest angle between normals; 0: 20 degrees or what noise explains.
        `pick_distance_mm`: largest distance of the pick from the nearest point; 0: 5 times the resolution.
        `trim_mm`: points nearer than this to the edge are left out; 0: twice the resolution; negative: none are
        (what a feature's bounds are taken from). Errors: PICK_OFF_SURFACE, EMPTY_REGION, ARGUMENT.
        """
        options = sized(
            "fitw_grow_options", distance_mm=distance_mm, angle_rad=angle_rad,
            pick_distance_mm=pick_distance_mm, trim_mm=trim_mm,
        )
        return region_of(self, "grow", doubles(pick_mm, "pick"), number("KIND", kind), options)

    def all(self) -> Region:
        """All points."""
        return region_of(self, "all")

    def from_ids(self, ids_of_points: Any) -> Region:
        """The points of given numbers, in any order; doubles count once. Error: ARGUMENT past the last."""
        held = ids(ids_of_points)
        # The library wants a place even for no numbers.
        first = ffi.cast("uint32_t *", address(held)) if len(held) else ffi.new("uint32_t *")
        return region_of(self, "from_ids", first, len(held))

    def in_box(
        self, low_mm: Iterable[float], high_mm: Iterable[float], frame_from_scan: Any = None
    ) -> Region:
        """The points in a box along the axes of a frame, 4 × 4; None: the scan's own. Error: EMPTY_REGION."""
        return region_of(
            self, "in_box", pose(frame_from_scan), doubles(low_mm, "low"), doubles(high_mm, "high")
        )

    def in_sphere(self, centre_mm: Iterable[float], radius_mm: float) -> Region:
        """The points in a sphere. Error: EMPTY_REGION."""
        return region_of(self, "in_sphere", doubles(centre_mm, "centre"), radius_mm)

    def near_shape(self, shape: Shape, within_mm: float) -> Region:
        """The points within a distance of a shape. Error: EMPTY_REGION."""
        return region_of(self, "near_shape", shape.raw(), within_mm)
