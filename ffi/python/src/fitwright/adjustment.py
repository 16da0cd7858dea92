"""Scans adjusted all together."""

from __future__ import annotations

from ._arrays import Array
from ._call import doubles, ffi, matrix
from ._handle import Handle
from .values import AdjustedPair, AdjustmentInfo, Covariance, Place


class Adjustment(Handle):
    """Scans adjusted all together over their overlaps. Immutable; may be used from any thread; see
    :meth:`Context.adjust`."""

    _noun = "adjustment"

    def describe(self) -> AdjustmentInfo:
        """Counts, and whether it settled."""
        return self._value("describe", AdjustmentInfo)

    @property
    def common_from_scan(self) -> list[Array]:
        """4 × 4 of each scan: takes its coordinates to the common ones."""
        poses = []
        for index in range(self.describe().scan_count):
            out = ffi.new("fitw_pose *")
            self._ask("pose", index, out)
            poses.append(matrix(out))
        return poses

    def covariance(self, index: int, about_mm: Place = None) -> Covariance:
        """Covariance of a scan's place against the held one, as a motion about a place in common coordinates; None: the
        middle of what it was matched by."""
        return self._value("covariance", Covariance, index, doubles(about_mm, "place"))

    @property
    def pairs(self) -> list[AdjustedPair]:
        """Pairs that were used, and how their surfaces lie on each other."""
        return [self._value("pair", AdjustedPair, index) for index in range(self.describe().pair_count)]

    @property
    def notes(self) -> list[str]:
        """What a person should know of it: motions that the surfaces leave free."""
        return self._texts("note", self.describe().note_count)
