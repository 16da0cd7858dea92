"""A datum system of an earlier day."""

from __future__ import annotations

from typing import Any, Optional

from ._call import ffi, lib, pose, sized
from ._handle import Handle
from .feature import Feature
from .join import Join
from .merged import placed_scans
from .scan import Scan
from .values import Change, ChangesInfo, Covariance, FoundAgain, Place, SavedDatumInfo, SavedFeature


class Changes(Handle):
    """What changed between the days. Immutable; may be used from any thread; see :meth:`SavedDatum.changes`."""

    _noun = "changes"

    def describe(self) -> ChangesInfo:
        """What changed as a whole."""
        return self._value("describe", ChangesInfo)

    @property
    def features(self) -> list[Change]:
        """Change of each saved feature, in the saved order."""
        return [self._value("feature", Change, index) for index in range(self.describe().feature_count)]

    @property
    def stand_out(self) -> list[str]:
        """Names of those that stand out, the first to stand out first."""
        return self._texts("stand_out", self.describe().stand_out_count)

    @property
    def notes(self) -> list[str]:
        """What a person should know."""
        return self._texts("note", self.describe().note_count)

    def covariance(self, about_mm: Place = None) -> Covariance:
        """Covariance of still_from_machine as a motion about a place; None: the machine's origin."""
        return self._about("covariance", Covariance, about_mm)


class SavedDatum(Handle):
    """A datum system that a run saved (datum.json). Immutable; may be used from any thread; see
    :meth:`Context.read_saved_datum`."""

    _noun = "saved_datum"

    def describe(self) -> SavedDatumInfo:
        """What it consists of."""
        return self._value("describe", SavedDatumInfo)

    @property
    def features(self) -> list[SavedFeature]:
        """Its features, machine coordinates."""
        return [self._value("feature", SavedFeature, index) for index in range(self.describe().feature_count)]

    def find(
        self, *placed: tuple[Scan, Any, Optional[Join]], start: Any = None, reach_mm: float = 0.0,
        tolerance_mm: float = 0.0,
    ) -> FoundAgain:
        """Finds it in later scans that are joined to each other, from any pose unless a start is given. Each: the scan;
        the pose, 4 × 4, that takes its coordinates to those of all; how it was joined, or None. The pose found is good
        enough to find each feature again; fitted there, they go to :meth:`changes`.

        `start`: 4 × 4, takes scan coordinates to about machine coordinates. `reach_mm`: how far it may put a feature
        from its place; 0: a tenth of the features' spread. `tolerance_mm`: how far a feature may be from where the
        others say, beyond its uncertainty; 0: 0.1. Error: JOIN in words, if too few are found or two poses fit.
        """
        options = sized("fitw_again_options", reach_mm=reach_mm, tolerance_mm=tolerance_mm)
        if start is not None:
            options.flags, options.start = lib.FITW_AGAIN_START, pose(start)[0]
        scans = placed_scans(placed)
        return self._session.run(lambda: self._value("find", FoundAgain, scans, len(placed), 0, options))

    def changes(self, *features: Optional[Feature], still_mm: float = 0.0) -> Changes:
        """Compares features of a later day, machine coordinates of that day, in the saved order, None for one that was
        not found, with the saved ones. A change up to `still_mm` counts as none; 0: 0.1."""
        raw = ffi.new("fitw_feature const *[]", [ffi.NULL if f is None else f._raw for f in features])
        return Changes._made(
            self._session, lib.fitw_saved_datum_changes, self._raw, raw, len(features), still_mm
        )
