"""Joined scans as one."""

from __future__ import annotations

from typing import Any, Iterable, Optional

from ._arrays import Array
from ._call import array_of, ffi, lib, pose
from ._handle import Handle
from .join import Join
from .scan import Scan
from .values import MergedInfo, Seam


class Merged(Handle):
    """Several joined scans as one, the better one where they overlap. Immutable; may be used from any thread; see
    :meth:`Context.merge`."""

    _noun = "merged"

    def describe(self) -> MergedInfo:
        """Counts."""
        return self._value("describe", MergedInfo)

    def scan(self) -> Scan:
        """It as a scan, coordinates of all."""
        return Scan._made(self._session, lib.fitw_merged_scan, self._raw)

    @property
    def point_scans(self) -> Array:
        """Place in the list of each point's scan, uint32; over its memory, read only."""
        return self._view("point_scans_view", "uint32_t", 1)

    @property
    def triangle_scans(self) -> Array:
        """Place in the list of each triangle's scan; empty if a scan is bare points."""
        return self._view("triangle_scans_view", "uint32_t", 1)

    @property
    def kept(self) -> Array:
        """Share of each scan's triangles (of bare points: points) that is kept, 0 to 1."""
        return self._view("kept_view", "double", 1)

    @property
    def seams(self) -> list[Seam]:
        """Where two scans meet, by pair."""
        return [self._value("seam", Seam, index) for index in range(self.describe().seam_count)]


def placed_scans(placed: Iterable[tuple[Scan, Any, Optional[Join]]]) -> Any:
    """Scans with their poses and joins, side by side."""
    raw = []
    for scan, all_from_this, join in placed:
        one = ffi.new("fitw_placed_scan *")
        one.scan, one.all_from_this = scan._raw, pose(all_from_this)[0]
        one.join = ffi.NULL if join is None else join._raw
        raw.append(one)
    return array_of("fitw_placed_scan", raw)
