"""Named things, fitted or constructed."""

from __future__ import annotations

from typing import Any

from ._arrays import Array
from ._call import lib, pose, text
from ._handle import Handle
from .join import Join
from .values import (
    Covariance, Evidence, FeatureInfo, LengthError, Parameter, Piece, Place, Quality, Relation, Shape, Table,
    Uncertainty, outline,
)


class Feature(Handle):
    """A named thing with its bounded pieces and uncertainty, in one frame. Immutable; from any thread."""

    _noun = "feature"

    def describe(self) -> FeatureInfo:
        """Kind, name, the fitter that made it, counts."""
        return self._value("describe", FeatureInfo)

    @property
    def name(self) -> str:
        """Its name."""
        return self.describe().name

    @property
    def shape(self) -> Shape:
        """The unbounded shape that locates it (hole: the cylinder of its wall; point: a sphere of radius 0)."""
        return self._value("shape", Shape)

    @property
    def quality(self) -> Quality:
        """Quality of its fit. Error: CONSTRUCTION for a constructed feature."""
        return self._value("quality", Quality)

    def covariance(self, about_mm: Place = None) -> Covariance:
        """Covariance about a place; None: its own."""
        return self._about("covariance", Covariance, about_mm)

    def uncertainty(self, place_mm: Place = None) -> Uncertainty:
        """Expanded uncertainties (coverage factor 2) at a place on it; None: at its own point."""
        return self._about("uncertainty", Uncertainty, place_mm)

    @property
    def parameters(self) -> dict[str, Parameter]:
        """Parameters by name: point, normal, axis, radius, half_angle …"""
        return {parameter.name: parameter for parameter in self._parameters()}

    def table(self, parameter: str) -> Table:
        """A parameter that is a table (``value_kind`` "table"), as of a plug-in. Error: ARGUMENT for another."""
        return self._table(self._parameters(), parameter)

    def parameter_uncertainty(self, parameter: str) -> float:
        """As :meth:`Fit.parameter_uncertainty`. What a plug-in states does not hold what a join or the scanner's
        error of length adds; :meth:`uncertainty` does."""
        return self._parameter_uncertainty(self._parameters(), parameter)

    @property
    def notes(self) -> list[str]:
        """What a person should know of it."""
        return self._texts("note", self.describe().note_count)

    @property
    def contact_points(self) -> Array:
        """Points that decide its shape, n × 3, mm, where the criterion is another than least squares; over its
        memory, read only."""
        return self._view("contact_points_view", "double", 3)

    @property
    def evidence(self) -> list[Evidence]:
        """How its shape stands against its neighbours. Error: CONSTRUCTION for a constructed feature."""
        return [self._value("evidence", Evidence, i) for i in range(self.quality.evidence_count)]

    def add_length_error(self, error: LengthError) -> Feature:
        """The feature with the scanner's error of length added to the uncertainty of its sizes and direction, to
        become a datum or part of a scene. Once only: each call adds it again. Error: ARGUMENT."""
        return Feature._made(self._session, lib.fitw_feature_add_length_error, self._raw, error.raw())

    @property
    def pieces(self) -> list[Piece]:
        """Bounded pieces (a hole: wall, rim circle, axis; a plane: its outline; a cylinder: patch, axis)."""
        return [self._piece(index) for index in range(self.describe().piece_count)]

    def intersect(self, name: str, other: Feature) -> Feature:
        """The line where two planes meet, or the point where an axis meets a plane. Error: CONSTRUCTION."""
        function = lib.fitw_feature_intersect
        return Feature._made(self._session, function, text(name), self._raw, other._raw)

    def midplane(self, name: str, other: Feature) -> Feature:
        """The plane midway between two planes. Error: CONSTRUCTION."""
        function = lib.fitw_feature_midplane
        return Feature._made(self._session, function, text(name), self._raw, other._raw)

    def move(self, moved_from_here: Any) -> Feature:
        """The feature moved by a rigid motion, 4 × 4, such as :attr:`Datum.machine_from_scan`."""
        function = lib.fitw_feature_move
        return Feature._made(self._session, function, self._raw, pose(moved_from_here))

    def join(self, join: Join) -> Feature:
        """A feature of a joined scan in the coordinates of the scan it was joined to, its uncertainty widened by
        that of the join."""
        return Feature._made(self._session, lib.fitw_feature_join, self._raw, join._raw)

    def rename(self, name: str) -> Feature:
        """The feature under another name."""
        return Feature._made(self._session, lib.fitw_feature_rename, self._raw, text(name))

    def relation(self, other: Feature) -> Relation:
        """Distance and angle to another feature in the same frame. Error: CONSTRUCTION."""
        return self._value("relation", Relation, other._raw)

    def _parameters(self) -> list[Parameter]:
        return [self._value("parameter", Parameter, i) for i in range(self.describe().parameter_count)]

    def _piece(self, index: int) -> Piece:
        piece = self._value("piece", Piece, index)
        return outline(piece, (self._loop(index, loop) for loop in range(piece.loop_count)))

    def _loop(self, piece: int, index: int) -> Array:
        return self._view("piece_loop_view", "double", 3, piece, index)
