"""The machine's own axes."""

from __future__ import annotations

from ._arrays import Array
from ._handle import Handle
from .values import Covariance, DatumInfo, Place, Squareness


class Datum(Handle):
    """A datum system (ISO 5459): the machine's axes from features of a scan. Immutable; from any thread."""

    _noun = "datum"

    @property
    def machine_from_scan(self) -> Array:
        """4 × 4: takes scan coordinates to machine coordinates, mm."""
        return self._pose()

    def covariance(self, about_mm: Place = None) -> Covariance:
        """Covariance of the frame as a motion about a place in machine coordinates; None: its origin."""
        return self._about("covariance", Covariance, about_mm)

    @property
    def squareness(self) -> list[Squareness]:
        """Angles between the datum features."""
        count = self._value("describe", DatumInfo).squareness_count
        return [self._value("squareness", Squareness, index) for index in range(count)]

    @property
    def taken(self) -> list[str]:
        """What each datum took, one sentence each."""
        return self._texts("taken", self._value("describe", DatumInfo).taken_count)
