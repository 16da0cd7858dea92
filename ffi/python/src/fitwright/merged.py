"""Joined scans as one."""

from __future__ import annotations

from ._arrays import Array
from ._call import lib
from ._handle import Handle
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
