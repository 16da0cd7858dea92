"""Does the part fit?"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any, Iterable, Iterator, Optional, Union, overload

import numpy as np

from ._arrays import Array, address, output
from ._call import array_of, ffi, lib, matrix, name, number, pose, sized, text, triple
from ._handle import Handle
from .datum import Datum
from .feature import Feature
from .join import Join
from .part import Part
from .region import Region
from .scan import Scan
from .values import (
    Finding, FindingNumber, FindingShare, InsertionLimits, LengthError, Move, ToolLimits, Warming,
)


class Check(Handle, Sequence[Finding]):
    """The findings about a part, the worst first: a sequence of :class:`Finding`. Immutable."""

    _noun = "check"

    @property
    def verdict(self) -> str:
        """The worst: "fail", "undecided" or "pass"."""
        return name("VERDICT", self._counted()[0])

    @property
    def part_pose(self) -> Array:
        """Where the part was checked, from where it was designed, 4 × 4: the identity, unless its bolts go in only
        with the part moved within its play."""
        out = ffi.new("fitw_pose *")
        self._ask("part_pose", out)
        return matrix(out)

    def __len__(self) -> int:
        return self._counted()[1]

    def __iter__(self) -> Iterator[Finding]:
        return (self._finding(index) for index in range(len(self)))

    @overload
    def __getitem__(self, index: int) -> Finding: ...

    @overload
    def __getitem__(self, index: slice) -> list[Finding]: ...

    def __getitem__(self, index: Union[int, slice]) -> Union[Finding, list[Finding]]:
        which = range(len(self))[index]
        return self._finding(which) if isinstance(which, int) else [self._finding(i) for i in which]

    def _finding(self, index: int) -> Finding:
        raw = Finding.empty()
        self._ask("finding", index, raw)
        numbers = [self._value("number", FindingNumber, index, k) for k in range(raw.number_count)]
        shares = [self._value("share", FindingShare, index, k) for k in range(raw.share_count)]
        return dataclasses.replace(
            Finding.read(raw),
            numbers={n.name: n.value for n in numbers},
            budget={s.cause: s.deviation for s in shares},
        )

    def path(self, index: int) -> list[Array]:
        """Places of the part from outside to its seat, 4 × 4 each, from where it was designed: of a finding
        "insertion" that found a way, else none."""
        need = ffi.new("size_t *")
        self._ask("path", index, ffi.NULL, 0, need)
        if need[0] == 0:
            return []
        poses = ffi.new("fitw_pose[]", need[0])
        self._ask("path", index, poses, need[0], need)
        return [matrix(ffi.addressof(poses, k)) for k in range(need[0])]

    def _counted(self) -> tuple[int, int]:
        verdict, count = ffi.new("int32_t *"), ffi.new("size_t *")
        self._ask("verdict", verdict, count)
        return verdict[0], count[0]


@dataclasses.dataclass(frozen=True, eq=False)
class MadePart:
    """A finished part as its scan shows it: the findings, the worst first; where the scan lies, 4 × 4; the distance
    of each of its points from the model, mm, negative where material is missing."""

    check: Check
    part_from_scan: Array
    deviation_mm: Array


class Scene:
    """What a part is held against; lengths in mm.

    `clearance_mm`: least air everywhere that is not a seat; 0: 3; negative: none asked. `seat_tolerance_mm`:
    largest gap or overlap that counts as seated; 0: 0.2. `unseen_reach_mm`: how far a surface may go on unseen
    beyond a scan's border; 0: 5. `datum`: for the uncertainty of the machine's frame. `tools`: what is asked of
    the space for tools at the bolts; `insertion`: of the way of the part to its seat; None: nothing.
    """

    def __init__(
        self, part: Part, *, datum: Optional[Datum] = None, clearance_mm: float = 0.0,
        seat_tolerance_mm: float = 0.0, unseen_reach_mm: float = 0.0, tools: Optional[ToolLimits] = None,
        insertion: Optional[InsertionLimits] = None,
    ) -> None:
        self._part = part
        self._tools = tools
        self._insertion = insertion
        self._datum = datum
        self._limits = {
            "clearance_mm": clearance_mm,
            "seat_tolerance_mm": seat_tolerance_mm,
            "unseen_reach_mm": unseen_reach_mm,
        }
        self._scans: list[Any] = []
        self._length_errors: list[Any] = []
        self._features: list[Any] = []
        self._mounts: list[Any] = []
        self._bolt_lengths: list[float] = []
        self._other_parts: list[Any] = []
        self._motions: list[Any] = []
        self._temperature: Any = ffi.NULL
        self._held: list[Any] = []

    def scan(
        self, scan: Scan, name: str, machine_from_scan: Any = None, join: Optional[Join] = None,
        length_error: LengthError = LengthError(),
    ) -> int:
        """Adds a scan with its pose, 4 × 4 (None: it is in machine coordinates), how it was joined to the first,
        and what its scanner's maker states of errors of length; its place in the scene."""
        called = text(name)
        raw = ffi.new("fitw_scene_scan *")
        raw.scan, raw.name = scan._raw, called
        raw.machine_from_scan = pose(np.eye(4) if machine_from_scan is None else machine_from_scan)[0]
        raw.join = ffi.NULL if join is None else join._raw
        self._held += [scan, called, join]
        self._scans.append(raw)
        self._length_errors.append(length_error.raw())
        return len(self._scans) - 1

    def feature(
        self, feature: Feature, *, seat: bool = False, bolt: str = "", surface: Optional[Region] = None,
        scan: int = -1, keep_clear_mm: float = 0.0,
    ) -> int:
        """Adds a feature in machine coordinates; its place in the scene.

        `seat`: the part is meant to touch it. `bolt`: what goes into it, such as "M8". `surface`: all points of
        its surface in scan `scan` (place in the scene), for what belongs to it. `keep_clear_mm`: clearance asked
        for it; 0: the general one; negative: none.
        """
        named = text(bolt)
        raw = ffi.new("fitw_scene_feature *")
        raw.feature, raw.bolt = feature._raw, named
        raw.surface = ffi.NULL if surface is None else surface._raw
        raw.scan, raw.is_seat, raw.keep_clear_mm = scan, int(seat), keep_clear_mm
        self._held += [feature, named, surface]
        self._features.append(raw)
        return len(self._features) - 1

    def mount(
        self, hole: int, near_mm: Iterable[float], seat: int = -1, bolt_length_mm: float = 0.0
    ) -> None:
        """The part is bolted on: places in the scene of hole and seat, and where the part's hole is, machine
        coordinates. `bolt_length_mm`: length of that bolt under its head, for the tools; 0: as they say."""
        raw = ffi.new("fitw_mount *")
        raw.hole, raw.seat, raw.near_mm = hole, seat, triple(near_mm, "near")
        self._mounts.append(raw)
        self._bolt_lengths.append(bolt_length_mm)

    def other_part(
        self, part: Part, name: str, *, touches: bool = False, keep_clear_mm: float = 0.0
    ) -> int:
        """Adds another designed part that is in the machine, machine coordinates; its place among the scene's other
        parts. `touches`: the part is meant to touch it, so that only overlap is a fail. `keep_clear_mm` as in
        :meth:`feature`."""
        called = text(name)
        raw = ffi.new("fitw_other_part *")
        raw.part, raw.name = part._raw, called
        raw.keep_clear_mm, raw.touches = keep_clear_mm, int(touches)
        self._held += [part, called]
        self._other_parts.append(raw)
        return len(self._other_parts) - 1

    def motion(
        self, name: str, moves: Iterable[Move], *, feature: int = -1, scan: int = -1, other_part: int = -1,
        box: Any = None, sphere: Any = None, clearance_mm: float = 0.0,
    ) -> None:
        """Something that moves while the part stays: the surface of a feature, a scan or another part (places in the
        scene), or of the scan only the points in `box` (lower and upper corner) or `sphere` (centre and radius), at rest, machine
        coordinates. `moves`: one to four, the first acting first. `clearance_mm` as in :meth:`feature`."""
        called, listed = text(name), list(moves)
        raw, many = ffi.new("fitw_scene_motion *"), array_of("fitw_scene_move", [m.raw() for m in listed])
        raw.name, raw.clearance_mm = called, clearance_mm
        raw.moves, raw.move_count = many, len(listed)
        raw.moving, raw.place = lib.FITW_MOVING_SCAN, scan
        if [feature < 0, scan < 0, other_part < 0].count(False) != 1:
            raise ValueError("motion: give one of `feature`, `scan` and `other_part`")
        if feature >= 0:
            raw.moving, raw.place = lib.FITW_MOVING_FEATURE, feature
        elif other_part >= 0:
            raw.moving, raw.place = lib.FITW_MOVING_PART, other_part
        if box is not None:
            raw.moving = lib.FITW_MOVING_BOX
            raw.low_mm, raw.high_mm = triple(box[0], "box"), triple(box[1], "box")
        elif sphere is not None:
            raw.moving = lib.FITW_MOVING_SPHERE
            raw.low_mm, raw.high_mm = triple(sphere[0], "sphere"), (sphere[1], 0.0, 0.0)
        self._held += [called, many]
        self._motions.append(raw)

    def temperature(
        self, machine: Warming, part: Warming, fixed_mm: Optional[Iterable[float]] = None
    ) -> None:
        """What machine and part are warmed to; where the first mount's bolt passes its seat stays, or `fixed_mm`."""
        raw = sized("fitw_temperature", machine=machine.raw()[0], part=part.raw()[0])
        if fixed_mm is not None:
            raw.flags, raw.fixed_mm = lib.FITW_TEMPERATURE_FIXED, triple(fixed_mm, "fixed")
        self._temperature = raw

    def check(self) -> Check:
        """Every check. Errors: OPEN_PART, UNDETERMINED if the part has no hole at a mount, ARGUMENT."""
        scene, _held = self._raw()
        return Check._made(self._part._session, lib.fitw_check_run, scene)

    def made(
        self, scan: Scan, *, tolerance_mm: float = 0.0, laid_on: str = "model", start: Any = None,
    ) -> MadePart:
        """The finished part's scan against the model, and every check with the part as made. `laid_on`: the whole
        "model", or its "seats" with the walls of its bolt holes. `start`: where the scan lies about, 4 × 4; None:
        looked for from any pose. `tolerance_mm`: largest deviation that is admitted; 0: none asked.

        Errors: JOIN if the scan does not lie on the model or does so in two ways, else as :meth:`check`.
        """
        scene, _held = self._raw()
        count = scan.describe().point_count
        deviation = np.empty(count)
        begin = pose(start)
        given = sized("fitw_made", laid_on=number("LAID_ON", laid_on), scan=scan._raw, tolerance_mm=tolerance_mm)
        given.start = begin
        place = ffi.new("fitw_pose *")
        buffer = ffi.cast("double *", address(deviation))
        check = Check._made(
            self._part._session, lib.fitw_check_made, scene, given, place, buffer, count,
        )
        return MadePart(check, matrix(place), deviation)

    def clearance(self, out: Optional[Array] = None) -> Array:
        """Signed clearance of each corner of the part's mesh to the nearest scanned surface that is not its
        seat, or other part that it is not meant to touch, mm, in the order of :attr:`Part.points`: negative in the machine's material, infinite where there
        is none. Into `out`, doubles, if given."""
        count = self._part.describe().point_count
        filled = output(out, count, "clearance")
        (scene, _held), need = self._raw(), ffi.new("size_t *")
        buffer = ffi.cast("double *", address(filled))
        session = self._part._session
        session.run(lambda: session.call(lib.fitw_check_clearance, scene, buffer, count, need))
        return filled

    def _raw(self) -> tuple[Any, list[Any]]:
        scene = sized("fitw_scene", part=self._part._raw, **self._limits)
        scans = array_of("fitw_scene_scan", self._scans)
        features = array_of("fitw_scene_feature", self._features)
        mounts = array_of("fitw_mount", self._mounts)
        errors = array_of("fitw_length_error", self._length_errors)
        scene.scans, scene.scan_count = scans, len(self._scans)
        scene.features, scene.feature_count = features, len(self._features)
        scene.mounts, scene.mount_count = mounts, len(self._mounts)
        scene.datum = ffi.NULL if self._datum is None else self._datum._raw
        scene.length_errors = errors
        tools = ffi.NULL if self._tools is None else self._tools.raw()
        lengths = ffi.new("double[]", self._bolt_lengths)
        if self._tools is not None and self._bolt_lengths:
            tools.bolt_lengths_mm = lengths
        others = array_of("fitw_other_part", self._other_parts)
        scene.other_parts, scene.other_part_count = others, len(self._other_parts)
        insertion, without = (ffi.NULL, None) if self._insertion is None else self._insertion.raw()
        scene.tools, scene.insertion = tools, insertion
        motions = array_of("fitw_scene_motion", self._motions)
        scene.motions, scene.motion_count = motions, len(self._motions)
        scene.temperature = self._temperature
        return scene, [scans, features, mounts, errors, tools, lengths, others, insertion, without, motions]
