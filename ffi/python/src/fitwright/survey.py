"""Surveys: every primitive of a scan."""

from __future__ import annotations

import json
from typing import Any, Iterable, Optional

from ._arrays import Array
from ._call import doubles, ffi, lib, name, number, text
from ._handle import Handle, Text
from .feature import Feature
from .region import Region
from .values import ProposedDatum, Surveyed, SurveyedHole, SurveyGroup, SurveyInfo


class Survey(Handle):
    """What was found in a scan, in its coordinates: primitives by number, and what they make together. Immutable; may be
    used from any thread; see :meth:`Scan.survey`."""

    _noun = "survey"

    def describe(self) -> SurveyInfo:
        """Counts."""
        return self._value("describe", SurveyInfo)

    @property
    def primitives(self) -> list[Surveyed]:
        """Planes, cylinders, cones, spheres, tori; within a kind the largest first."""
        return [self._value("primitive", Surveyed, i) for i in range(self.describe().primitive_count)]

    def ids(self, index: int) -> Array:
        """Numbers of a primitive's points, ascending, edges included, uint32; over the survey's memory, read only.
        Error: ARGUMENT past the last."""
        return self._view("ids_view", "uint32_t", 1, index)

    def neighbours(self, index: int) -> list[int]:
        """Numbers of the primitives that one touches, ascending. Error: ARGUMENT past the last."""
        return [int(k) for k in self._view("neighbours_view", "uint32_t", 1, index)]

    def feature(self, index: int) -> Feature:
        """A primitive with its pieces, quality and covariance; its name is the id. Error: ARGUMENT past the last."""
        return Feature._made(self._session, lib.fitw_survey_feature, self._raw, index)

    def region(self, index: int) -> Region:
        """A primitive's points, edges included, to be fitted in another way. Error: ARGUMENT past the last."""
        return Region._made(self._session, lib.fitw_survey_region, self._raw, index)

    @property
    def holes(self) -> list[SurveyedHole]:
        """Round holes, the widest first."""
        return [self._value("hole", SurveyedHole, i) for i in range(self.describe().hole_count)]

    @property
    def tubes(self) -> list[SurveyGroup]:
        """Bent tubes: cylinders and bends in order."""
        return [self._group("tube", index) for index in range(self.describe().tube_count)]

    @property
    def groups(self) -> list[SurveyGroup]:
        """Primitives that share an axis, a direction or a radius."""
        return [self._group("group", index) for index in range(self.describe().group_count)]

    @property
    def datum(self) -> ProposedDatum:
        """The likeliest datum system; nothing but None in it without any plane."""
        return self._value("datum", ProposedDatum)

    def nearest(
        self, place_mm: Iterable[float], kind: Optional[str] = None, *, diameter_mm: float = 0.0
    ) -> Optional[tuple[int, float]]:
        """Number of the primitive nearest to a place, and its distance, mm; of a kind, if one is given, and of about a
        diameter, within a tenth (of a cone in the middle of what was seen, of a torus that of its tube). None if
        there is none. Error: ARGUMENT."""
        wanted = 0 if kind is None else number("KIND", kind)
        index, distance = ffi.new("int32_t *"), ffi.new("double *")
        self._ask("nearest", doubles(place_mm, "place"), wanted, diameter_mm, index, distance)
        return None if index[0] == lib.FITW_SURVEY_NONE else (int(index[0]), float(distance[0]))

    def json(self, scan_file: str = "") -> dict[str, Any]:
        """What the command line writes to survey.json; `scan_file` as it is to name the scan."""
        made = Text._made(self._session, lib.fitw_survey_json, self._raw, text(scan_file))
        found: dict[str, Any] = json.loads(made.string())
        return found

    def starter_job(self, scan_file: str, unit: str = "mm") -> str:
        """A job file with the likeliest datum system and every hole, to be trimmed; `scan_file` as seen from its
        folder, `unit` of that file: "mm", "cm", "m", "inch"."""
        function = lib.fitw_survey_starter_job
        return Text._made(self._session, function, self._raw, text(scan_file), number("UNIT", unit)).string()

    def _group(self, what: str, index: int) -> SurveyGroup:
        first, count = ffi.new("uint32_t const **"), ffi.new("size_t *")
        kind, radius = ffi.new("int32_t *"), ffi.new("double *")
        if what == "tube":
            self._ask("tube_view", index, first, count, radius)
        else:
            self._ask("group_view", index, first, count, kind, radius)
        word = "tube" if what == "tube" else name("SURVEYED", kind[0])
        members = tuple(int(first[0][k]) for k in range(count[0]))
        return SurveyGroup(word, float(radius[0]), members)
