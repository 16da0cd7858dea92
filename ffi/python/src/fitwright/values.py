"""Results as plain values: mm, rad, double. Their fields are those of the C interface's structs."""

from __future__ import annotations

import dataclasses
from typing import Any, ClassVar, Iterable, Optional, TypeVar

import numpy as np

from ._arrays import Array
from ._call import ffi, lib, matrix, name, number, sized, string, triple

V = TypeVar("V", bound="Value")


#: Fields whose constants FITW_<group>_… become words.
_WORDS = {
    "criterion": "CRITERION", "extent": "EXTENT", "kind": "KIND", "measure": "MEASURE", "moved": "MOVED", "quantity": "QUANTITY", "side": "SIDE", "sort": "OPTION",
    "value_kind": "VALUE", "verdict": "VERDICT",
}


@dataclasses.dataclass(frozen=True, eq=False)
class Value:
    """A struct of the C interface, read by the names of the fields."""

    _struct: ClassVar[str]

    @classmethod
    def empty(cls) -> Any:
        """The struct for the library to fill."""
        return sized(cls._struct)

    @classmethod
    def read(cls: type[V], raw: Any) -> V:
        """The value of a struct."""
        return cls(**{f.name: _read(getattr(raw, f.name), f) for f in dataclasses.fields(cls)})


def _read(value: Any, field: dataclasses.Field[Any]) -> Any:
    if field.name in _WORDS and field.type == "str":
        return name(_WORDS[field.name], value)
    if field.type == "bool":
        return bool(value)
    if field.type == "Optional[int]":
        return None if value == lib.FITW_SURVEY_NONE else value
    if not isinstance(value, ffi.CData):
        return value
    kind = ffi.typeof(value)
    if kind.cname == "fitw_str":
        return string(value)
    if kind.cname == "fitw_pose":
        return matrix(value)
    numbers = np.array(list(value))
    return numbers.reshape(8, 8) if len(numbers) == 64 else numbers


@dataclasses.dataclass(frozen=True, eq=False)
class Shape(Value):
    """An unbounded ideal shape.

    ``kind``: "plane", "line", "circle", "sphere", "cylinder", "cone", "torus"; "composite" as a result only.
    ``point_mm``: on the plane, line or axis; centre of circle, sphere, torus.
    ``direction``: unit normal of plane and circle, direction of a line, axis of cylinder, cone (towards growing
    radius), torus; zeros for a sphere. As an argument of any length but 0.
    ``size_1``: radius, mm (cone: at ``point_mm``; torus: major), else 0.
    ``size_2``: minor radius of a torus, mm; half-angle of a cone, rad; else 0.
    """

    _struct = "fitw_shape"
    kind: str
    point_mm: Array
    direction: Array
    size_1: float
    size_2: float

    @staticmethod
    def of(
        kind: str, point_mm: Iterable[float], direction: Iterable[float] = (0, 0, 0),
        size_1: float = 0.0, size_2: float = 0.0,
    ) -> Shape:
        """A shape of the caller's own numbers."""
        at, along = triple(point_mm, "point"), triple(direction, "direction")
        return Shape(kind, np.array(at), np.array(along), size_1, size_2)

    def raw(self) -> Any:
        """The struct of the C interface."""
        return sized(
            self._struct, kind=number("KIND", self.kind), size_1=self.size_1, size_2=self.size_2,
            point_mm=self.point_mm.tolist(), direction=self.direction.tolist(),
        )


@dataclasses.dataclass(frozen=True, eq=False)
class Quality(Value):
    """How good a fit is. ``sigma_mm``: standard deviation of one point; ``zone_mm``: largest minus smallest
    signed distance; ``arc_rad``: arc seen about the axis; ``condition``: large is badly determined.
    ``independent_mm``, ``smooth_mm``: standard deviations of the scatter that is each point's own and that
    neighbours share, over ``smooth_length_mm``; ``effective_points``: as many independent ones would do."""

    _struct = "fitw_quality"
    converged: bool
    points: int
    rejected: int
    iterations: int
    rms_mm: float
    largest_mm: float
    zone_mm: float
    sigma_mm: float
    extent_mm: float
    arc_rad: float
    condition: float
    criterion: str
    contact_count: int
    evidence_count: int
    independent_mm: float
    smooth_mm: float
    smooth_length_mm: float
    effective_points: float


@dataclasses.dataclass(frozen=True, eq=False)
class Covariance(Value):
    """Covariance of a shape as a small motion of it about ``about_mm``, and its sizes. ``matrix``, 8 × 8: shift
    x, y, z (mm); turn about x, y, z (rad); size 1; size 2."""

    _struct = "fitw_covariance"
    about_mm: Array
    matrix: Array

    def raw(self) -> Any:
        """The struct of the C interface."""
        numbers = self.matrix.ravel().tolist()
        return sized(self._struct, about_mm=self.about_mm.tolist(), matrix=numbers)


@dataclasses.dataclass(frozen=True, eq=False)
class Evidence(Value):
    """How a fitted shape stands against a neighbouring one, such as a "cone" for a cylinder: the largest deviation
    towards it, its expanded uncertainty (coverage factor 2), and the probability of as much by chance."""

    _struct = "fitw_evidence"
    against: str
    amplitude_mm: float
    uncertainty_mm: float
    probability: float


@dataclasses.dataclass(frozen=True)
class LengthError:
    """Largest permissible error of a length that the scanner's maker states (ISO 10360-8, VDI/VDE 2634-3):
    ``fixed_mm`` + ``per_length`` × length; 0.05 mm per metre is 0.00005."""

    fixed_mm: float = 0.0
    per_length: float = 0.0

    def raw(self) -> Any:
        """The struct of the C interface."""
        return ffi.new("fitw_length_error *", (self.fixed_mm, self.per_length))


@dataclasses.dataclass(frozen=True)
class ToolLimits:
    """What is asked of the space for tools at the bolts: a socket or a spanner, or with ``every`` each of them. Sizes
    left at 0 are by the bolt, from memory of hand tools; air and extension: 0: 1 and 50 mm, negative: none."""

    socket: bool = True
    spanner: bool = True
    every: bool = False
    washer: bool = True
    air_mm: float = 0.0
    extension_mm: float = 0.0
    socket_diameter_mm: float = 0.0
    socket_length_mm: float = 0.0
    swing_rad: float = 0.0
    bolt_length_mm: float = 0.0

    def raw(self) -> Any:
        """The struct of the C interface."""
        flags = (
            (0 if self.socket else lib.FITW_TOOLS_NO_SOCKET) | (0 if self.spanner else lib.FITW_TOOLS_NO_SPANNER)
            | (lib.FITW_TOOLS_EVERY if self.every else 0) | (0 if self.washer else lib.FITW_TOOLS_NO_WASHER)
        )
        fields = ("air_mm", "extension_mm", "socket_diameter_mm", "socket_length_mm", "swing_rad", "bolt_length_mm")
        return sized("fitw_tool_limits", flags=flags, **{name: getattr(self, name) for name in fields})


@dataclasses.dataclass(frozen=True)
class InsertionLimits:
    """What is asked of the way of the part to its seat. ``clearance_mm``: air all along it; 0: 1; negative: none.
    ``directions``: straight ones tried; 0: 1000. ``tries``: moves tried for a way with turns if none is straight; 0:
    2000. ``without``: places in the scene of features that are taken off for it; ``without_parts``: of other parts that are
    put in after it."""

    clearance_mm: float = 0.0
    directions: int = 0
    tries: int = 0
    seed: int = 0
    without: tuple[int, ...] = ()
    without_parts: tuple[int, ...] = ()

    def raw(self) -> tuple[Any, Any]:
        """The struct of the C interface, and what it points to."""
        without = ffi.new("uint32_t[]", list(self.without))
        parts = ffi.new("uint32_t[]", list(self.without_parts))
        struct = sized(
            "fitw_insertion_limits", clearance_mm=self.clearance_mm, directions=self.directions, tries=self.tries,
            seed=self.seed, without=without, without_count=len(self.without),
            without_parts=parts, without_part_count=len(self.without_parts),
        )
        return struct, [without, parts]


@dataclasses.dataclass(frozen=True)
class Move:
    """A movement between limits, 0 being where it was scanned; made by :meth:`turn` (rad) or :meth:`shift` (mm).

    It goes by the axis of a feature (place in the scene), or by a line in machine coordinates, which is taken as
    exact."""

    kind: int
    start: float
    stop: float
    feature: int = -1
    point_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    direction: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @classmethod
    def turn(
        cls, start: float, stop: float, *, feature: int = -1, point_mm: Any = (0, 0, 0), direction: Any = (0, 0, 0)
    ) -> Move:
        """By the right hand about an axis, rad."""
        return cls(lib.FITW_MOVE_TURN, start, stop, feature, tuple(point_mm), tuple(direction))

    @classmethod
    def shift(cls, start: float, stop: float, *, feature: int = -1, direction: Any = (0, 0, 0)) -> Move:
        """Along a direction, mm."""
        return cls(lib.FITW_MOVE_SHIFT, start, stop, feature, direction=tuple(direction))

    def raw(self) -> Any:
        """The struct of the C interface."""
        given = (self.kind, self.feature, self.point_mm, self.direction, self.start, self.stop)
        return ffi.new("fitw_scene_move *", given)


@dataclasses.dataclass(frozen=True)
class Warming:
    """Change of a body's temperature, °C: its coefficient of linear expansion and half the range that it lies in,
    1/K (see :meth:`Context.expansion`), and half the range of the temperature after, K."""

    expansion: float
    expansion_within: float
    from_celsius: float
    to_celsius: float
    to_within: float = 0.0

    def raw(self) -> Any:
        """The struct of the C interface."""
        return ffi.new("fitw_warming *", dataclasses.astuple(self))


@dataclasses.dataclass(frozen=True, eq=False)
class Uncertainty(Value):
    """Expanded uncertainties, coverage factor 2: of a place in its worst direction, mm; of the direction, rad;
    of the sizes (see :class:`Shape`)."""

    _struct = "fitw_uncertainty"
    position_mm: float
    tilt_rad: float
    size_1: float
    size_2: float


@dataclasses.dataclass(frozen=True, eq=False)
class Parameter(Value):
    """A named parameter of a shape: ``value`` is x, y, z, or the number and two zeros, or of a table its rows and
    columns and a zero; ``quantity`` of a number is "length" (mm), "angle" (rad) or "number"; "0" else."""

    _struct = "fitw_parameter"
    name: str
    value_kind: str
    quantity: str
    value: Array


@dataclasses.dataclass(frozen=True, eq=False)
class ConstraintCost(Value):
    """What was held cost: freedoms taken away, standard deviation of one point without and with it, and the
    probability of as much by chance; -1 where the points alone do not determine the shape."""

    _struct = "fitw_constraint_cost"
    freedoms: int
    free_sigma_mm: float
    sigma_mm: float
    probability: float


@dataclasses.dataclass(frozen=True, eq=False)
class Fitter(Value):
    """A fitter that may be asked for by its ``id``; ``options`` are those of a plug-in's."""

    _struct = "fitw_fitter_info"
    id: str
    title: str
    kind: str
    minimum_points: int
    options: tuple[Option, ...] = ()

    @classmethod
    def read(cls, raw: Any) -> Fitter:
        return cls(string(raw.id), string(raw.title), name("KIND", raw.kind), raw.minimum_points)


@dataclasses.dataclass(frozen=True, eq=False)
class Option(Value):
    """An option of a plug-in's fitter, mm or rad: ``sort`` "number", "whole" or "switch" (1 or 0); ``quantity``
    "length", "angle" or "number"; its ``standard`` value and limits."""

    _struct = "fitw_option_info"
    name: str
    description: str
    sort: str
    quantity: str
    standard: float
    least: float
    most: float


@dataclasses.dataclass(frozen=True, eq=False)
class Plugin(Value):
    """A plug-in that is loaded; ``trusted``: inside this process, not in a worker."""

    _struct = "fitw_plugin_info"
    id: str
    title: str
    version: str
    licence: str
    folder: str
    trusted: bool
    fitter_count: int


@dataclasses.dataclass(frozen=True, eq=False)
class Importer(Value):
    """An importer of a plug-in, to be named as the ``reader`` of a part; ``extensions`` of the files it reads."""

    _struct = "fitw_importer_info"
    id: str
    title: str
    extensions: tuple[str, ...]

    @classmethod
    def read(cls, raw: Any) -> Importer:
        return cls(string(raw.id), string(raw.title), tuple(string(raw.extensions).split()))


@dataclasses.dataclass(frozen=True, eq=False)
class Refusal(Value):
    """A plug-in that was refused: where it is, why, and the :class:`Code` of the reason."""

    _struct = "fitw_refusal"
    status: int
    folder: str
    reason: str


@dataclasses.dataclass(frozen=True, eq=False)
class Column(Value):
    """A column of a table; ``quantity`` "length" (mm), "angle" (rad) or "number"."""

    _struct = "fitw_column"
    name: str
    quantity: str


@dataclasses.dataclass(frozen=True, eq=False)
class Table:
    """A parameter that is a table: ``values`` rows × columns, over the memory of the fit or feature, read only."""

    columns: tuple[Column, ...]
    values: Array

    def rows(self) -> list[dict[str, float]]:
        """Its rows, each by the names of the columns."""
        names = [column.name for column in self.columns]
        return [dict(zip(names, row)) for row in self.values.tolist()]


@dataclasses.dataclass(frozen=True, eq=False)
class Relation(Value):
    """How two features lie to each other; angle 0 to pi/2, NaN if one has no direction; uncertainties
    expanded, coverage factor 2; ``measure`` says what the distance is."""

    _struct = "fitw_relation"
    angle_rad: float
    angle_uncertainty_rad: float
    distance_mm: float
    distance_uncertainty_mm: float
    measure: str


@dataclasses.dataclass(frozen=True, eq=False)
class Piece(Value):
    """A bounded piece of a feature: a shape and how much of it exists.

    ``extent``: "outline" (``loops``: corners, mm, the first counter-clockwise about the normal, the others are
    holes), "segment" (``u_from`` to ``u_to``, mm along the direction), "arc" (rad about the normal, from
    ``zero``), "patch" (u: rad about ``pole`` from ``zero``; v: cylinder and cone mm along the axis, sphere
    latitude, torus angle round the tube), "whole".
    """

    _struct = "fitw_piece"
    extent: str
    kind: str
    loop_count: int
    point_mm: Array
    direction: Array
    size_1: float
    size_2: float
    zero: Array
    pole: Array
    u_from: float
    u_to: float
    v_from: float
    v_to: float
    #: Corners of each loop of an outline, n × 3, over the feature's memory.
    loops: tuple[Array, ...] = ()

    @classmethod
    def read(cls, raw: Any) -> Piece:
        own = [f for f in dataclasses.fields(cls) if f.name != "loops"]
        return cls(**{f.name: _read(getattr(raw, f.name), f) for f in own})


@dataclasses.dataclass(frozen=True, eq=False)
class Squareness(Value):
    """Angle between two datum features, 0 to pi/2; its deviation from the nearer of 0 and pi/2 and the expanded
    uncertainty of that, rad."""

    _struct = "fitw_squareness"
    a: str
    b: str
    angle_rad: float
    deviation_rad: float
    uncertainty_rad: float


@dataclasses.dataclass(frozen=True, eq=False)
class TargetPair(Value):
    """A target seen in both scans: its places in both lists, the distance left, mm, and its own share in where
    the join puts it, 0 to 1: near 1 nothing checks it."""

    _struct = "fitw_target_pair"
    to: int
    from_: int
    residual_mm: float
    leverage: float

    @classmethod
    def read(cls, raw: Any) -> TargetPair:
        # "from" is a word of Python's own.
        return cls(raw.to, getattr(raw, "from"), raw.residual_mm, raw.leverage)


@dataclasses.dataclass(frozen=True, eq=False)
class CandidatePose(Value):
    """A pose that was weighed in a join from an unknown start, before the last fit: 4 × 4, coordinates of the joined
    scan to those of the scan joined to; its share among all, 0 to 1; natural logarithm of how much likelier what
    lies on the other surface is of the true pose than of a chance one; cells that lie on it, and that should and
    do not."""

    _struct = "fitw_candidate_pose"
    to_from_this: Array
    probability: float
    evidence: float
    matched: int
    against: int


@dataclasses.dataclass(frozen=True, eq=False)
class FeatureResidual(Value):
    """How far a feature of the joined scan lies from its like after the fit, as far as the shape shows it, mm, and
    the angle between their directions, rad, with the expanded uncertainty of one component of each; its share of the
    chi-square; numbers that it gives; ``used``: not if it disagreed with all others."""

    _struct = "fitw_feature_residual"
    used: bool
    name: str
    distance_mm: float
    distance_uncertainty_mm: float
    tilt_rad: float
    tilt_uncertainty_rad: float
    square: float
    equation_count: int


@dataclasses.dataclass(frozen=True, eq=False)
class PartHole(Value):
    """A round hole of a part: middle of its axis inside the material, unit axis, radius, length of the wall."""

    _struct = "fitw_part_hole_info"
    point_mm: Array
    axis: Array
    radius_mm: float
    depth_mm: float


@dataclasses.dataclass(frozen=True, eq=False)
class Finding(Value):
    """Answer of one check. Numbers that there are none of are NaN.

    ``kind``: "interference", "clearance", "hole", "seat", "coverage"; ``verdict``: "pass", "fail", "undecided".
    ``value_mm``: what was measured (depth of an interference as a positive number), with its expanded
    uncertainty (coverage factor 2) and the limit it is held against. ``at_mm`` on the part, ``to_mm`` on the
    scan, machine coordinates. ``points``: scan points that speak for it, -1 if not counted. ``measure``: what
    value, uncertainty and limit are of, "length"; an "angle" is in rad. ``numbers``: further ones by name, mm,
    mm², mm³, rad. ``budget``: standard deviations by cause, the largest first.
    """

    _struct = "fitw_finding"
    kind: str
    verdict: str
    name: str
    value_mm: float
    uncertainty_mm: float
    limit_mm: float
    at_mm: Array
    to_mm: Array
    extent_mm: float
    points: int
    detail: str
    remedy: str
    measure: str
    numbers: dict[str, float] = dataclasses.field(default_factory=dict)
    budget: dict[str, float] = dataclasses.field(default_factory=dict)

    @classmethod
    def read(cls, raw: Any) -> Finding:
        of_struct = [f for f in dataclasses.fields(cls) if f.name not in ("numbers", "budget")]
        values = {f.name: _read(getattr(raw, f.name), f) for f in of_struct}
        # A kind of a later library has a name before it has a number.
        values["kind"] = string(raw.kind_name)
        return cls(**values)


@dataclasses.dataclass(frozen=True, eq=False)
class FindingNumber(Value):
    """A further number of a finding."""

    _struct = "fitw_finding_number"
    name: str
    value: float
    measure: str


@dataclasses.dataclass(frozen=True, eq=False)
class FindingShare(Value):
    """What the uncertainty of a finding has from one cause: a standard deviation."""

    _struct = "fitw_finding_share"
    cause: str
    deviation: float
    measure: str


@dataclasses.dataclass(frozen=True, eq=False)
class Surveyed(Value):
    """One primitive of a scan. ``id``: kind and number, "cylinder 3", the largest first. ``side`` of the material:
    "flat", "outer" (shaft, ball), "inner" (bore). ``at_mm``: a point on it well away from its edges.
    ``area_mm2``: what its points cover. ``kind`` to ``size_2`` as in :class:`Shape`; uncertainties are expanded
    (coverage factor 2), noise taken as independent from point to point."""

    _struct = "fitw_surveyed"
    id: str
    kind: str
    side: str
    point_count: int
    neighbour_count: int
    area_mm2: float
    at_mm: Array
    point_mm: Array
    direction: Array
    size_1: float
    size_2: float
    position_uncertainty_mm: float
    tilt_uncertainty_rad: float
    size_1_uncertainty: float
    size_2_uncertainty: float


@dataclasses.dataclass(frozen=True, eq=False)
class SurveyedHole(Value):
    """A round hole: numbers of its wall (None: only its rim was seen), of the face it opens in, and of its bottom or,
    if it goes ``through``, the face at its other end. ``point_mm``: where the axis meets the face; ``axis``: out of
    the material; ``depth_mm``: of the wall that was seen."""

    _struct = "fitw_surveyed_hole"
    wall: Optional[int]
    face: Optional[int]
    other_end: Optional[int]
    through: bool
    point_mm: Array
    axis: Array
    radius_mm: float
    depth_mm: float


@dataclasses.dataclass(frozen=True, eq=False)
class ProposedDatum(Value):
    """The likeliest datum system, numbers of primitives: the largest plane, what is square to it, what is square to
    both; where there is no tertiary plane, the number of a ``hole`` that sets the origin."""

    _struct = "fitw_proposed_datum"
    primary: Optional[int]
    secondary: Optional[int]
    tertiary: Optional[int]
    hole: Optional[int]


@dataclasses.dataclass(frozen=True, eq=False)
class SurveyInfo(Value):
    """Counts of a survey; ``unclaimed_count``: points that belong to no primitive."""

    _struct = "fitw_survey_info"
    primitive_count: int
    hole_count: int
    tube_count: int
    group_count: int
    unclaimed_count: int


@dataclasses.dataclass(frozen=True, eq=False)
class SurveyGroup:
    """Primitives by number, with what they have in common: "coaxial", "parallel", "perpendicular", "same-radius", or
    "tube", whose members are in order along it. ``radius_mm``: the common one, NaN where that is not it."""

    kind: str
    radius_mm: float
    members: tuple[int, ...]


@dataclasses.dataclass(frozen=True, eq=False)
class ScanInfo(Value):
    """What a scan consists of; ``borrows``: 1 if its points, plus 2 if its triangles lie in lent arrays."""

    _struct = "fitw_scan_info"
    borrows: int
    point_count: int
    triangle_count: int
    note_count: int


@dataclasses.dataclass(frozen=True, eq=False)
class FeatureInfo(Value):
    """What a feature is: its ``kind`` is that of a shape, "composite", "point" or "hole"."""

    _struct = "fitw_feature_info"
    kind: str
    name: str
    fitter: str
    piece_count: int
    parameter_count: int
    note_count: int


@dataclasses.dataclass(frozen=True, eq=False)
class DatumInfo(Value):
    """Counts of a datum system."""

    _struct = "fitw_datum_info"
    squareness_count: int
    taken_count: int


@dataclasses.dataclass(frozen=True, eq=False)
class JoinInfo(Value):
    """How well a scan was joined: rms of the residuals, mm; share of points (by targets: of targets) used."""

    _struct = "fitw_join_info"
    converged: bool
    rms_mm: float
    overlap: float
    pair_count: int
    note_count: int
    candidate_count: int
    feature_count: int
    freedom_count: int
    chi_square: float
    probability: float


@dataclasses.dataclass(frozen=True, eq=False)
class AdjustmentInfo(Value):
    """What an adjustment came to."""

    _struct = "fitw_adjustment_info"
    converged: bool
    scan_count: int
    pair_count: int
    note_count: int


@dataclasses.dataclass(frozen=True, eq=False)
class AdjustedPair(Value):
    """How the surfaces of two scans, by their places in the list, lie on each other after an adjustment: points of the
    second on the first and their share; root mean square distance before and after; mean signed distance; how far the
    pair alone would put and turn the second elsewhere."""

    _struct = "fitw_adjusted_pair"
    to: int
    from_: int
    point_count: int
    overlap: float
    rms_before_mm: float
    rms_mm: float
    offset_mm: float
    misfit_mm: float
    misfit_rad: float

    @classmethod
    def read(cls, raw: Any) -> AdjustedPair:
        # "from" is a word of Python's own.
        fields = (f.name for f in dataclasses.fields(cls))
        return cls(**{f: getattr(raw, f.rstrip("_")) for f in fields})


@dataclasses.dataclass(frozen=True, eq=False)
class MergedInfo(Value):
    """What several scans as one consist of."""

    _struct = "fitw_merged_info"
    point_count: int
    triangle_count: int
    seam_count: int


@dataclasses.dataclass(frozen=True, eq=False)
class Seam(Value):
    """Where two scans meet, by their places in the list: length of their common seams; mean step, positive where the
    second lies farther out of the material, with its expanded uncertainty; largest step, with coverage factor 4, and
    where, coordinates of all; ``exceeds``: a step is more than its uncertainty."""

    _struct = "fitw_seam"
    exceeds: bool
    a: int
    b: int
    length_mm: float
    mean_mm: float
    uncertainty_mm: float
    largest_mm: float
    largest_uncertainty_mm: float
    at_mm: Array


@dataclasses.dataclass(frozen=True, eq=False)
class SavedDatumInfo(Value):
    """What a saved datum system consists of; ``machine_from_scan``: 4 × 4, from that day's first scan."""

    _struct = "fitw_saved_datum_info"
    job: str
    feature_count: int
    machine_from_scan: Array


@dataclasses.dataclass(frozen=True, eq=False)
class SavedFeature(Value):
    """A feature as it was saved: middle and radius about it of what was seen, machine coordinates."""

    _struct = "fitw_saved_feature"
    kind: str
    name: str
    middle_mm: Array
    extent_mm: float


@dataclasses.dataclass(frozen=True, eq=False)
class FoundAgain(Value):
    """Where a saved datum system was found: 4 × 4, by all features that were matched; ``deviation``: root mean square of
    what the pairs disagree by, in their own deviations."""

    _struct = "fitw_found_again"
    machine_from_scan: Array
    matched_count: int
    deviation: float


@dataclasses.dataclass(frozen=True, eq=False)
class ChangesInfo(Value):
    """What changed between the days: sum of squares against a frame common to all, its freedoms, the probability of as
    large a one by chance; 4 × 4 from today's machine coordinates to where what did not move is where it was."""

    _struct = "fitw_changes_info"
    feature_count: int
    stand_out_count: int
    note_count: int
    freedom_count: int
    square: float
    probability: float
    still_from_machine: Array


@dataclasses.dataclass(frozen=True, eq=False)
class Change(Value):
    """Change of a feature to the later day, machine axes, with expanded uncertainties; ``moved``: "no", "yes",
    "undecided", "not-seen"."""

    _struct = "fitw_change"
    moved: str
    name: str
    note: str
    shift_mm: Array
    shift_uncertainty_mm: float
    turn_rad: float
    turn_uncertainty_rad: float
    size_1: float
    size_2: float
    size_1_uncertainty: float
    size_2_uncertainty: float
    extent_mm: float


@dataclasses.dataclass(frozen=True, eq=False)
class PartInfo(Value):
    """What a part consists of; ``closed``: a solid, which the checks need; ``chord_error_mm``: largest distance
    of the mesh from the exact surfaces, 0 for a mesh."""

    _struct = "fitw_part_info"
    closed: bool
    solid_count: int
    point_count: int
    triangle_count: int
    face_count: int
    hole_count: int
    note_count: int
    volume_mm3: float
    area_mm2: float
    low_mm: Array
    high_mm: Array
    chord_error_mm: float
    schema: str


@dataclasses.dataclass(frozen=True, eq=False)
class OutcomeInfo(Value):
    """What a run found, in short; ``machine_from_scan``: 4 × 4, from the first scan's coordinates."""

    _struct = "fitw_outcome_info"
    verdict: str
    scan_count: int
    feature_count: int
    finding_count: int
    machine_from_scan: Array


def outline(piece: Piece, loops: Iterable[Array]) -> Piece:
    """The piece with its loops."""
    return dataclasses.replace(piece, loops=tuple(loops))


Place = Optional[Iterable[float]]
