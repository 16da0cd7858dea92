"""Where everything begins."""

from __future__ import annotations

import dataclasses
import json
import os
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Iterable, Optional, Union

from . import _arrays
from ._arrays import Array, address
from ._call import array_of, doubles, ffi, lib, number, pose, sized, string, text
from ._handle import H, Text
from ._session import Log, Progress, Session, give_back, lend
from .adjustment import Adjustment
from .datum import Datum
from .feature import Feature
from .fit import Fit, Hold, fit_options, fitter_id
from .job import Job
from .join import Join
from .merged import Merged, placed_scans
from .noise import Noise
from .part import Part
from .region import Region
from .saved_datum import SavedDatum
from .scan import Scan
from .values import (
    ConstraintCost, Covariance, Fitter, Importer, LengthError, Option, Plugin, Refusal, Shape, V,
)

Path = Union[str, os.PathLike[str]]


class Context:
    """Threads, callbacks, limits. What is made with it may outlive it, and may be used with things of others.

    `threads`: worker threads, 1 to 1024; None: as many as the machine has cores; results do not depend on it.
    `memory_limit`: most bytes that positions, triangles and normals of scans and parts may take together; 0:
    none. `progress(step, fraction)`: called on any thread, one call at a time; what returns False cancels the
    call, which raises :class:`Cancelled`; what it raises is raised by the call. `log(level, line)`: "error" or
    "note" and a line.

    Every call lets other Python threads run. Ctrl-C on the main thread cancels the running call, which then
    raises KeyboardInterrupt; other threads' calls with this context end with :class:`Cancelled` then. Any
    thread may use a context, several at once; give each its own if messages of errors matter.
    """

    def __init__(
        self, *, threads: Optional[int] = None, memory_limit: int = 0,
        progress: Optional[Progress] = None, log: Optional[Log] = None,
    ) -> None:
        count = lib.FITW_THREADS_ALL if threads is None else threads
        self._session = Session(count, memory_limit, progress, log)

    def cancel(self) -> None:
        """Asks running and later work to stop with :class:`Cancelled`, until :meth:`resume`; from any thread."""
        self._session.cancelled = True
        lib.fitw_context_cancel(self._session.raw)

    def resume(self) -> None:
        """Takes :meth:`cancel` back."""
        self._session.cancelled = False
        lib.fitw_context_resume(self._session.raw)

    @property
    def memory(self) -> int:
        """Bytes of scans and parts that count against the limit now; borrowed arrays do not."""
        out = ffi.new("uint64_t *")
        self._session.call(lib.fitw_context_memory, out)
        return int(out[0])

    def fitters(self) -> list[Fitter]:
        """The fitters that may be asked for: the built-in ones, then those of the plug-ins."""
        found = self._all(Fitter, lib.fitw_fitter_count, lib.fitw_fitter_describe)
        of = [
            self._all(Option, lib.fitw_fitter_option_count, lib.fitw_fitter_option, index)
            for index in range(len(found))
        ]
        return [dataclasses.replace(fitter, options=tuple(own)) for fitter, own in zip(found, of)]

    def load_plugins(
        self, folder: Path, *, trust: bool = False, worker: Optional[Path] = None,
        time_limit: Optional[float] = None, memory_limit: Optional[int] = None,
    ) -> int:
        """Loads the plug-in of a folder (the one with a fitwright-plugin.toml), or all plug-ins in it, for fits by
        their ids and for the jobs of this context; returns how many were loaded. Load only folders that you or
        your user named: a plug-in is a program.

        Each runs in a process of its own, `worker`: the path of the program fitwright-worker, which this package
        does not carry yet; ``cargo build --release -p fitwright`` makes it. None: beside the Python program. A
        crash, a call longer than `time_limit` (s; None: 60) or more memory than `memory_limit` (bytes; None:
        4 GiB) ends that process and raises PLUGIN. This contains accidents, not malice. `trust`: inside this
        process instead, never to be unloaded: no worker is needed, and a crash is yours.

        An empty `folder` loads nothing: the options, but for `trust`, are those of the plug-ins that later jobs
        name themselves. What is refused is in :attr:`refused`. Errors: IO, PLUGIN_REFUSED if others may write to
        the folder, ARGUMENT.
        """
        place, program = text(os.fspath(folder)), text(os.fspath(worker or ""))
        options = sized("fitw_plugin_options", trust=int(trust), worker=program)
        options.time_limit_s, options.memory_limit_bytes = time_limit or 0.0, memory_limit or 0
        loaded = ffi.new("size_t *")
        self._session.run(lambda: self._session.call(lib.fitw_plugins_load, place, options, loaded))
        return int(loaded[0])

    @property
    def plugins(self) -> list[Plugin]:
        """The plug-ins that are loaded."""
        return self._all(Plugin, lib.fitw_plugin_count, lib.fitw_plugin_describe)

    @property
    def importers(self) -> list[Importer]:
        """The importers of the loaded plug-ins, for :meth:`read_part`."""
        return self._all(Importer, lib.fitw_importer_count, lib.fitw_importer_describe)

    @property
    def refused(self) -> list[Refusal]:
        """The plug-ins that were refused, and why."""
        return self._all(Refusal, lib.fitw_plugin_refused_count, lib.fitw_plugin_refused)

    def scan(
        self, points: Any, triangles: Any = None, normals: Any = None, *, unit: str = "mm",
        borrow: bool = False,
    ) -> Scan:
        """A scan of arrays: `points` n × 3 double or float, any row stride; `triangles` m × 3 point numbers,
        counter-clockwise seen from outside; `normals` n × 3, outward.

        `unit` of the points: "mm", "cm", "m", "inch". Copied, unless `borrow` is set: then double points in mm
        whose rows lie side by side, and uint32 or int32 triangles, are used where they lie and kept alive as
        long as the scan needs them; they must not be written to meanwhile. Errors: ARGUMENT, LIMIT.
        """
        mesh, held = _arrays.mesh(points, triangles, normals, unit)
        if not borrow:
            return self._make(Scan, lib.fitw_scan_create, mesh)
        mesh.flags, mesh.release, mesh.release_user = lib.FITW_MESH_BORROW, give_back, lend(held)
        try:
            return self._make(Scan, lib.fitw_scan_create, mesh)
        except BaseException:
            give_back(mesh.release_user)
            raise

    def read_scan(
        self, path: Path, *, unit: str = "mm", drop_invalid: bool = False, max_points: int = 0,
        max_triangles: int = 0,
    ) -> Scan:
        """Reads a scan: STL, PLY, OBJ or points as text, told apart by extension and content.

        `drop_invalid`: drop points that are not finite instead of failing. `max_points`, `max_triangles`: most
        that the file may hold; 0: 200 and 400 million. Errors: IO, FORMAT with line or byte, UNKNOWN_FORMAT,
        UNSUPPORTED, LIMIT, ARGUMENT.
        """
        options = sized("fitw_scan_options", max_points=max_points, max_triangles=max_triangles)
        options.flags = lib.FITW_SCAN_DROP_INVALID if drop_invalid else 0
        place = text(os.fspath(path))
        return self._make(Scan, lib.fitw_scan_read, place, number("UNIT", unit), options)

    def fit(
        self, fitter: str, points: Any, *, normals: Any = None, pick_mm: Optional[Iterable[float]] = None,
        noise_mm: float = 0.0, criterion: str = "least-squares", hold: Optional[Hold] = None,
        keep_outliers: bool = False, noise: Optional[Noise] = None, reference: Optional[Covariance] = None,
        options: Optional[Mapping[str, float]] = None, resolution_mm: float = 0.0,
    ) -> Fit:
        """Fits to points without a scan: n × 3 double or float, mm, any row stride; `normals` n × 3 units, zero
        where unknown; `pick_mm`: where the user pointed; `noise_mm` of the points, `resolution_mm`: their usual
        distance, 0: unknown. The rest, and errors, as :meth:`Region.fit`; rejected and deciding points are rows
        of the input."""
        chosen, _held = fit_options(criterion, hold, keep_outliers, noise, reference, options)
        raw, _arrays_held = _arrays.fit_points(points, normals, doubles(pick_mm, "pick"), noise_mm)
        raw.resolution_mm = resolution_mm
        return self._make(Fit, lib.fitw_fit_points, text(fitter_id(fitter)), raw, chosen)

    def fit_group(
        self, relation: str, members: Iterable[tuple[str, Any]], *, keep_outliers: bool = False,
        noise: Optional[Noise] = None,
    ) -> tuple[list[Fit], ConstraintCost]:
        """Fits shapes that share an axis, centre, plane or direction, all at once, and what that cost them.

        `relation`: "coaxial", "concentric", "coplanar", "parallel", "perpendicular". `members`: 2 to 64 kinds,
        each with its region or its points, n × 3, mm, in one frame. They obey the relation to rounding; one that
        its own points leave open is made up for by the others. Errors: as :meth:`Region.fit`, with the member's
        number; ARGUMENT for a kind that the relation does not take.
        """
        raw, held = [], []
        for kind, of in members:
            member = ffi.new("fitw_group_member *")
            member.kind = number("KIND", kind)
            if isinstance(of, Region):
                member.region = of._raw
            else:
                points, arrays = _arrays.fit_points(of, None, ffi.NULL, 0.0)
                member.points = points
                held += [points, arrays]
            raw.append(member)
            held.append(of)
        options, _held = fit_options("least-squares", None, keep_outliers, noise)
        group, value = array_of("fitw_group_member", raw), number("GROUP", relation)

        def work() -> tuple[list[Fit], ConstraintCost]:
            fits, cost = ffi.new("fitw_fit *[]", len(raw)), ConstraintCost.empty()
            self._session.call(lib.fitw_group_fit, group, len(raw), 0, value, options, fits, cost)
            return [Fit(self._session, fit) for fit in fits], ConstraintCost.read(cost)

        return self._session.run(work)

    def noise(self, of: Iterable[Union[Fit, Feature]]) -> Noise:
        """What fits to surfaces of one scan, and features of such fits, agree on: the more surfaces, the better. To
        be given to the fits of that scan, the same ones again and others. Error: UNDETERMINED if none tells."""
        held = list(of)
        fits = [one._raw for one in held if isinstance(one, Fit)]
        features = [one._raw for one in held if isinstance(one, Feature)]
        arguments: list[Any] = []
        for kind, raws in (("fitw_fit", fits), ("fitw_feature", features)):
            arguments += [ffi.new(f"{kind} *[]", raws) if raws else ffi.NULL, len(raws)]
        return self._make(Noise, lib.fitw_noise_pool, *arguments)

    def independent_noise(self) -> Noise:
        """Noise known to be independent from point to point, as that of a touch probe."""
        return self._make(Noise, lib.fitw_noise_independent)

    def length_deviation(self, error: LengthError, length_mm: float) -> float:
        """Standard deviation, mm, that a scanner's error makes of a length. Twice it is to be added, in squares, to
        the uncertainty of a distance between features of one scan. Error: ARGUMENT."""
        out = ffi.new("double *")
        self._session.call(lib.fitw_length_error_deviation, error.raw(), length_mm, out)
        return float(out[0])

    def expansion(self, material: str) -> tuple[float, float]:
        """Coefficient of linear expansion of a material, such as "steel" or "aluminium", and half its range, 1/K.
        Error: ARGUMENT, naming the known ones."""
        expansion, within = ffi.new("double *"), ffi.new("double *")
        self._session.call(lib.fitw_material_expansion, text(material), expansion, within)
        return float(expansion[0]), float(within[0])

    def distances(self, shape: Shape, points: Any, out: Optional[Array] = None) -> Array:
        """Distance of each point (n × 3, mm) from a shape, mm: signed for surfaces, positive on the side their
        normal points to or outside; for curves unsigned. Into `out`, n doubles, if given."""
        xyz = _arrays.places(points, "points").astype("f8", copy=False)
        filled = _arrays.output(out, len(xyz), "distances")
        stride = 0 if xyz.flags.c_contiguous else xyz.strides[0]
        raw, to = shape.raw(), ffi.cast("double *", address(filled))
        first = ffi.cast("double *", address(xyz))
        self._session.run(
            lambda: self._session.call(lib.fitw_shape_distances, raw, first, len(xyz), stride, to)
        )
        return filled

    def find_hole(
        self, name: str, face: Feature, face_region: Region, pick_mm: Iterable[float], *,
        largest_radius_mm: float = 0.0, criterion: str = "least-squares", hold: Optional[Hold] = None,
        keep_outliers: bool = False, noise: Optional[Noise] = None,
    ) -> tuple[Feature, Region]:
        """A round hole in a plane, by its wall if enough of it was seen, else by its rim; and the region of the
        wall's points, which may be empty.

        `face_region`: all points of the plane, edges included: grown with a negative ``trim_mm``. `pick_mm`: in
        its mouth, on its rim or wall. `largest_radius_mm`: 0: a third of the face's extent. Errors:
        UNDETERMINED if neither is seen, CONSTRUCTION if the face is no plane.
        """
        called = text(name)
        search = sized("fitw_hole_search", name=called, face=face._raw, face_region=face_region._raw)
        search.pick_mm, search.largest_radius_mm = doubles(pick_mm, "pick"), largest_radius_mm
        options, _held = fit_options(criterion, hold, keep_outliers, noise)

        def work() -> tuple[Feature, Region]:
            hole, wall = ffi.new("fitw_feature **"), ffi.new("fitw_region **")
            self._session.call(lib.fitw_feature_find_hole, search, options, hole, wall)
            return Feature(self._session, hole[0]), Region(self._session, wall[0])

        return self._session.run(work)

    def datum(self, *datums: tuple[Feature, str, str]) -> Datum:
        """The machine's axes of one to three datums, the primary first. Each: a plane, axis or point; the
        machine axis that its direction becomes, "+x", "-x" … "-z" or ""; the coordinates that it sets to zero
        ahead of later ones, "origin", letters as "xy", or "" for those left open.

        Errors: DATUM naming the freedom that is left or the datum that adds nothing.
        """
        raw, held = [], []
        for feature, axis, sets in datums:
            one = ffi.new("fitw_datum_feature *")
            held += [text(axis), text(sets)]
            one.feature, one.axis, one.sets = feature._raw, held[-2], held[-1]
            raw.append(one)
        return self._make(Datum, lib.fitw_datum_create, array_of("fitw_datum_feature", raw), len(raw), 0)

    def join_by_targets(
        self, to_mm: Any, from_mm: Any, *, tolerance_mm: float = 0.0, least_deviation_mm: float = 0.0
    ) -> Join:
        """Joins by target centres seen in both scans, in any order: n × 3 and m × 3, mm, in the coordinates of
        the scan joined to and of the scan that is joined. `tolerance_mm`: largest distance of a target from its
        partner; 0: 0.3. `least_deviation_mm`: standard deviation below which residuals say nothing; 0: 0.03.
        Errors: JOIN in words, LIMIT over 1,000 targets."""
        lists = [_arrays.places(a, w).astype("f8", copy=False) for a, w in ((to_mm, "to"), (from_mm, "from"))]
        options = sized(
            "fitw_join_options", tolerance_mm=tolerance_mm, least_deviation_mm=least_deviation_mm
        )
        arguments: list[Any] = []
        for xyz in lists:
            stride = 0 if xyz.flags.c_contiguous else xyz.strides[0]
            arguments += [ffi.cast("double *", address(xyz)), len(xyz), stride]
        return self._make(Join, lib.fitw_join_by_targets, *arguments, options)

    def join_by_surface(
        self, to: Scan, from_: Scan, start: Any = None, *, reach_mm: float = 0.0,
        normal_angle_rad: float = 0.0, least_overlap: float = 0.0, iterations: int = 0,
    ) -> Join:
        """Joins `from_` to `to` by the surface that both show. `start`: 4 × 4, takes coordinates of `from_` to
        those of `to`, nearly; None: they nearly agree already.

        `reach_mm`: how far the start may put any point from its place; 0: 5 % of the scan's diagonal.
        `normal_angle_rad`: largest angle between normals of a pair; 0: 45 degrees. `least_overlap`: smallest
        share of points that overlap; 0: 0.1. `iterations`: most of each step; 0: 60. Error: JOIN in words.
        """
        options = sized(
            "fitw_join_options", reach_mm=reach_mm, normal_angle_rad=normal_angle_rad,
            least_overlap=least_overlap, iterations=iterations,
        )
        return self._make(Join, lib.fitw_join_by_surface, to._raw, from_._raw, pose(start), options)

    def join_by_features(
        self, *same: tuple[Feature, Feature, bool], tolerance_mm: float = 0.0, loosest_mm: float = 0.0
    ) -> Join:
        """Joins by features that are the same in both scans, from any pose, weighted by their covariances. Each: as
        the scan joined to shows it, as the joined one does, and whether both directions point the same way (normals
        of planes out of the material; False if their sign is not sure).

        `tolerance_mm`: largest distance of a feature from its like beyond three standard deviations; 0: 1.
        `loosest_mm`: largest standard deviation of a motion that counts as held; 0: 0.5. Error: JOIN in words, if a
        motion is left free, several poses fit, or the features contradict one another.
        """
        raw = []
        for to, from_, directed in same:
            one = ffi.new("fitw_same_feature *")
            setattr(one, "from", from_._raw)  # A word of Python's own.
            one.to, one.directed = to._raw, int(directed)
            raw.append(one)
        options = sized("fitw_join_options", tolerance_mm=tolerance_mm, loosest_mm=loosest_mm)
        return self._make(
            Join, lib.fitw_join_by_features, array_of("fitw_same_feature", raw), len(raw), 0, options
        )

    def adjust(
        self, *started: tuple[Scan, Any], held: int = 0, pairs: Iterable[tuple[int, int]] = (),
        observed: Iterable[tuple[int, int, Join]] = (), reach_mm: float = 0.0, normal_angle_rad: float = 0.0,
        least_overlap: float = 0.0, iterations: int = 0,
    ) -> Adjustment:
        """Adjusts scans all together over all their overlaps, so that a round of them closes. Each: the scan, and the
        pose, 4 × 4, that nearly takes its coordinates to the common ones.

        `held`: place of the scan that stays. `pairs`: places of the scans to use in pairs, joined to and joined;
        none: all that overlap. `observed`: joins by targets or features that hold too, with the places of the scan
        joined to and of the joined one. The limits as of :meth:`join_by_surface`. Error: JOIN in words.
        """
        raw = []
        for scan, common_from_scan in started:
            one = ffi.new("fitw_started_scan *")
            one.scan, one.common_from_scan = scan._raw, pose(common_from_scan)[0]
            raw.append(one)
        couples = []
        for to, from_ in pairs:
            couple = ffi.new("fitw_scan_pair *")
            couple.to = to
            setattr(couple, "from", from_)  # A word of Python's own.
            couples.append(couple)
        joins, held_joins = [], []
        for to, from_, join in observed:
            seen = ffi.new("fitw_observed_join *")
            seen.to, seen.join = to, join._raw
            setattr(seen, "from", from_)
            joins.append(seen)
            held_joins.append(join)
        options = sized(
            "fitw_adjust_options", reach_mm=reach_mm, normal_angle_rad=normal_angle_rad,
            least_overlap=least_overlap, iterations=iterations, held=held,
        )
        lists = array_of("fitw_scan_pair", couples), array_of("fitw_observed_join", joins)
        if couples:
            options.pairs, options.pair_count = lists[0], len(couples)
        if joins:
            options.observed, options.observed_count = lists[1], len(joins)
        return self._make(
            Adjustment, lib.fitw_adjustment_create, array_of("fitw_started_scan", raw), len(raw), 0, options
        )

    def merge(
        self, *placed: tuple[Scan, Any, Optional[Join]], reach_mm: float = 0.0, margin: float = 0.0
    ) -> Merged:
        """Puts two or more joined scans into one, the better one where they overlap. Each: the scan; the pose, 4 × 4,
        that takes its coordinates to those of all; how it was joined, for its uncertainty, or None.

        `reach_mm`: surfaces that face one way and are this near are one; 0: from spacing, noise and joins.
        `margin`: how many times better a later scan must know a place to take it; 0: 1.2.
        """
        options = sized("fitw_merge_options", reach_mm=reach_mm, margin=margin)
        return self._make(Merged, lib.fitw_merged_create, placed_scans(placed), len(placed), 0, options)

    def read_saved_datum(self, path: Path) -> SavedDatum:
        """Reads a datum system that a run saved (datum.json)."""
        return self._make(SavedDatum, lib.fitw_saved_datum_read, text(os.fspath(path)))

    def saved_datum(self, json: str) -> SavedDatum:
        """The same from the file's text."""
        return self._make(SavedDatum, lib.fitw_saved_datum_parse, text(json))

    def join_from_unknown_start(
        self, to: Scan, from_: Scan, *, least_overlap: float = 0.0, candidates: int = 0
    ) -> Join:
        """Joins `from_` to `to` by the surface that both show, from any pose; normals must point to the same side
        in both. `least_overlap`: smallest share of points that overlap; 0: 0.1. `candidates`: poses kept in
        :attr:`Join.candidates`, at most; 0: 5. Error: JOIN in words, with the poses that were weighed, if none is
        certain."""
        options = sized("fitw_join_options", least_overlap=least_overlap, candidates=candidates)
        return self._make(Join, lib.fitw_join_from_unknown_start, to._raw, from_._raw, options)

    def step_text(self, features: Iterable[Feature], machine_from_scan: Any = None, **options: Any) -> str:
        """Features as a STEP file in machine coordinates, in memory. `machine_from_scan`: 4 × 4, applied to
        every feature; None: they are in machine coordinates already.

        Options: ``schema`` "ap242" or "ap214"; ``full``: curved pieces completed instead of trimmed to what was
        seen; ``title`` of the assembly; ``date``, ``scan_date`` ISO 8601; ``precision_mm``, ``axis_length_mm``.
        Errors: DUPLICATE_NAME, ARGUMENT.
        """
        raw, count, held = _features(features)
        chosen, held_too = _step_options(**options)
        pose_of = pose(machine_from_scan)
        made = self._make(Text, lib.fitw_step_text, pose_of, raw, count, chosen)
        del held, held_too
        return made.string()

    def step_write(
        self, path: Path, features: Iterable[Feature], machine_from_scan: Any = None, **options: Any
    ) -> None:
        """As :meth:`step_text`, into a file, which appears complete or not at all. Error: also IO."""
        raw, count, _held = _features(features)
        chosen, _held_too = _step_options(**options)
        pose_of, place = pose(machine_from_scan), text(os.fspath(path))
        self._session.run(
            lambda: self._session.call(lib.fitw_step_write, place, pose_of, raw, count, chosen)
        )

    def read_part(
        self, path: Path, *, unit: str = "mm", chord_error_mm: float = 0.0, reader: str = ""
    ) -> Part:
        """Reads a part in machine coordinates: STEP (.step, .stp, .p21), STL, PLY, OBJ, GLB or 3MF, by the extension.

        `unit` of a mesh file; STEP, GLB and 3MF name their own. `chord_error_mm`: largest distance of a STEP part's
        mesh from its exact surfaces; 0: 0.01. `reader`: id of a plug-in's importer, see :attr:`importers`;
        empty: the library itself. Errors: IO, FORMAT with entity and line, UNKNOWN_FORMAT, UNSUPPORTED, LIMIT.
        """
        options = sized("fitw_part_options", unit=number("UNIT", unit), chord_error_mm=chord_error_mm)
        named = text(reader)
        options.reader = named
        made = self._make(Part, lib.fitw_part_read, text(os.fspath(path)), options)
        del named
        return made

    def write_meshes(
        self,
        path: Path,
        bodies: Mapping[str, Scan | Part | Feature],
        *,
        colours: Mapping[str, Any] = MappingProxyType({}),
        poses: Mapping[str, Any] = MappingProxyType({}),
        chord_error_mm: float = 0.0,
    ) -> None:
        """Scans, parts and features by name as one mesh file, which appears complete or not at all.

        The extension says the format: .ply, .stl, .obj, .glb, .3mf. Millimetres; GLB holds metres with Y up, as
        it must, and programs that read it take that back. `colours`: red, green, blue, 0 to 255, by name; kept
        by all but STL. `poses`: 4 × 4, by name. `chord_error_mm`: largest distance of a feature's triangles
        from its faces; 0: 0.05. Errors: UNKNOWN_FORMAT, ARGUMENT, LIMIT, IO.
        """
        raw, held = _bodies(bodies, colours, poses, chord_error_mm)
        place = text(os.fspath(path))
        self._session.run(
            lambda: self._session.call(lib.fitw_meshes_write, place, raw, len(bodies), 0)
        )
        del held

    def part(self, points: Any, triangles: Any, name: str = "", *, unit: str = "mm") -> Part:
        """A part of triangles whose corners are shared by number; copied; machine coordinates. Arrays as
        :meth:`scan`; `name` stands for the file in messages. Errors: FORMAT, LIMIT, ARGUMENT."""
        mesh, _held = _arrays.mesh(points, triangles, None, unit)
        return self._make(Part, lib.fitw_part_create, mesh, text(name))

    def job(self, toml: str, folder: Path = "") -> Job:
        """Reads the text of a job file and validates it; its paths are relative to `folder`, "": the current
        one. Errors: JOB with place and remedy, DUPLICATE_NAME, UNKNOWN_NAME."""
        return self._make(Job, lib.fitw_job_create, text(toml), text(os.fspath(folder)))

    def job_schema(self) -> dict[str, Any]:
        """The JSON schema (draft 2020-12) of job files."""
        schema: dict[str, Any] = json.loads(self._make(Text, lib.fitw_job_schema).string())
        return schema

    def _all(self, kind: type[V], counter: Any, describe: Any, *of: int) -> list[V]:
        count, found = ffi.new("size_t *"), []
        self._session.call(counter, *of, count)
        for index in range(count[0]):
            out = kind.empty()
            self._session.call(describe, *of, index, out)
            found.append(kind.read(out))
        return found

    def _make(self, kind: type[H], function: Any, *arguments: Any) -> H:
        return kind._made(self._session, function, *arguments)


def version() -> str:
    """Version of the engine."""
    return _fixed(lib.fitw_version_text)


def build() -> str:
    """How the library was built, one line for reports of defects."""
    return _fixed(lib.fitw_build_text)


def known(feature: str) -> bool:
    """Whether the library has a feature: "step", "job", "borrowed-scan", "group-fit", "noise-model", "length-error",
    "plug-in"."""
    out = ffi.new("int32_t *")
    lib.fitw_feature_known(text(feature), out)
    return bool(out[0])


def _fixed(function: Any) -> str:
    out = ffi.new("fitw_str *")
    function(out)
    return string(out[0])


def _features(features: Iterable[Feature]) -> tuple[Any, int, list[Feature]]:
    held = list(features)
    return ffi.new("fitw_feature *[]", [f._raw for f in held]), len(held), held


def _bodies(
    bodies: Mapping[str, Union[Scan, Part, Feature]],
    colours: Mapping[str, Any],
    poses: Mapping[str, Any],
    chord_error_mm: float,
) -> tuple[Any, list[Any]]:
    for what, given in (("colours", colours), ("poses", poses)):
        if unknown := [n for n in given if n not in bodies]:
            raise ValueError(f"{what} of no body: {', '.join(unknown)}")
    raw, held = ffi.new("fitw_body[]", len(bodies)), []
    for out, (called, thing) in zip(raw, bodies.items()):
        parts = [text(called), thing, pose(poses.get(called))]
        held.append(parts)
        out.name, out.pose, out.chord_error_mm = parts[0], parts[2], chord_error_mm
        field = {Scan: "scan", Part: "part", Feature: "feature"}[type(thing)]
        setattr(out, field, thing._raw)
        if called in colours:
            red, green, blue = (int(c) for c in colours[called])
            out.colour, out.has_colour = red << 16 | green << 8 | blue, 1
    return raw, held


def _step_options(
    *, schema: str = "ap242", full: bool = False, title: str = "", date: str = "", scan_date: str = "",
    precision_mm: float = 0.0, axis_length_mm: float = 0.0,
) -> tuple[Any, list[Any]]:
    held = [text(title), text(date), text(scan_date)]
    options = sized("fitw_step_options", precision_mm=precision_mm, axis_length_mm=axis_length_mm)
    options.title, options.date, options.scan_date = held
    options.schema = {"ap242": lib.FITW_STEP_AP242, "ap214": lib.FITW_STEP_AP214}[schema]
    options.flags = lib.FITW_STEP_FULL if full else 0
    return options, held
