"""Scans joined to scans."""

from __future__ import annotations

from ._arrays import Array
from ._handle import Handle
from .values import CandidatePose, Covariance, FeatureResidual, JoinInfo, Place, TargetPair


class Join(Handle):
    """How one scan was joined to another. Immutable; may be used from any thread."""

    _noun = "join"

    @property
    def to_from_this(self) -> Array:
        """4 × 4: takes coordinates of the joined scan to those of the scan joined to."""
        return self._pose()

    def covariance(self, about_mm: Place = None) -> Covariance:
        """Covariance of the pose as a motion about a place; None: the middle of what was matched."""
        return self._about("covariance", Covariance, about_mm)

    def describe(self) -> JoinInfo:
        """How well it was joined."""
        return self._value("describe", JoinInfo)

    @property
    def pairs(self) -> list[TargetPair]:
        """Targets seen in both scans; none by surface."""
        count = self.describe().pair_count
        return [self._value("pair", TargetPair, index) for index in range(count)]

    @property
    def candidates(self) -> list[CandidatePose]:
        """Poses that were weighed from an unknown start, the best first; else none."""
        count = self.describe().candidate_count
        return [self._value("candidate", CandidatePose, index) for index in range(count)]

    @property
    def features(self) -> list[FeatureResidual]:
        """What each feature says of a join by features, in the order given; else none."""
        count = self.describe().feature_count
        return [self._value("feature", FeatureResidual, index) for index in range(count)]

    @property
    def notes(self) -> list[str]:
        """What a person should know of it: motions that the data leave free, targets that moved."""
        return self._texts("note", self.describe().note_count)
