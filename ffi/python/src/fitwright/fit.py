"""Shapes fitted to points."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Iterable, Optional, Union

from ._arrays import Array
from ._call import array_of, ffi, lib, number, sized, text, triple
from ._handle import Handle
from .feature import Feature
from .noise import Noise
from .values import (
    ConstraintCost, Covariance, Evidence, Parameter, Place, Quality, Shape, Table, Uncertainty,
)

if TYPE_CHECKING:
    from .region import Region

#: What is known of a shape: names with a number, or with a direction or place.
Hold = Union[Mapping[str, Any], Iterable[tuple[str, Any]]]


class Fit(Handle):
    """A shape fitted to points. Immutable; may be used from any thread."""

    _noun = "fit"

    @property
    def shape(self) -> Shape:
        """The shape, in the coordinates of the points."""
        return self._value("shape", Shape)

    @property
    def quality(self) -> Quality:
        """How good the fit is."""
        return self._value("quality", Quality)

    @property
    def constraint_cost(self) -> ConstraintCost:
        """What was held cost; ``freedoms`` 0 if nothing was."""
        return self._value("constraint_cost", ConstraintCost)

    def covariance(self, about_mm: Place = None) -> Covariance:
        """Covariance about a place; None: about a place of the data, the best one to keep it at."""
        return self._about("covariance", Covariance, about_mm)

    def uncertainty(self, place_mm: Place = None) -> Uncertainty:
        """Expanded uncertainties (coverage factor 2) at a place on the shape; None: at its own point."""
        return self._about("uncertainty", Uncertainty, place_mm)

    @property
    def parameters(self) -> dict[str, Parameter]:
        """Parameters by name: point, normal, axis, radius, half_angle …"""
        return {parameter.name: parameter for parameter in self._parameters()}

    def table(self, parameter: str) -> Table:
        """A parameter that is a table (``value_kind`` "table"), as of a plug-in. Error: ARGUMENT for another."""
        return self._table(self._parameters(), parameter)

    def parameter_uncertainty(self, parameter: str) -> float:
        """Expanded uncertainty (coverage factor 2) of a parameter: of a place in its worst direction, mm; of a
        direction, rad; of a number in its own unit. Of a plug-in's shape it is what the plug-in states. Error:
        UNDETERMINED if it is not known, as of a table."""
        return self._parameter_uncertainty(self._parameters(), parameter)

    @property
    def notes(self) -> list[str]:
        """What a person should know of it."""
        return self._texts("note", self._count("note_count"))

    @property
    def rejected(self) -> Array:
        """Points left out as gross outliers, ascending, uint32: numbers of the scan's points for a region, else
        rows of the input; over the fit's memory, read only."""
        return self._view("rejected_view", "uint32_t", 1)

    @property
    def contacts(self) -> Array:
        """Points that decide the shape of another criterion than least squares; as :attr:`rejected`."""
        return self._view("contacts_view", "uint32_t", 1)

    @property
    def contact_points(self) -> Array:
        """Where those points are, n × 3, mm; over the fit's memory, read only."""
        return self._view("contact_points_view", "double", 3)

    @property
    def evidence(self) -> list[Evidence]:
        """How the shape stands against its neighbours: is it that shape at all?"""
        return [self._value("evidence", Evidence, i) for i in range(self.quality.evidence_count)]

    def _parameters(self) -> list[Parameter]:
        return [self._value("parameter", Parameter, i) for i in range(self._count("parameter_count"))]

    def _count(self, verb: str) -> int:
        count = ffi.new("size_t *")
        self._ask(verb, count)
        return int(count[0])

    def feature(self, name: str, surface: Region) -> Feature:
        """The shape bounded by `surface`: all points of it, edges included. Errors: UNDETERMINED for a free
        radius on less than 60 degrees of arc, ARGUMENT."""
        return Feature._made(
            self._session, lib.fitw_feature_from_fit, text(name), self._raw, surface._raw
        )


def fitter_id(fitter: str) -> str:
    """Names without a vendor are the built-in ones, as in job files."""
    return fitter if "." in fitter else f"builtin.{fitter}"


def fit_options(
    criterion: str, hold: Optional[Hold], keep_outliers: bool, noise: Optional[Noise],
    reference: Optional[Covariance] = None, values: Optional[Mapping[str, float]] = None,
) -> tuple[Any, Any]:
    """``fitw_fit_options *`` and what it points into."""
    pairs = hold.items() if isinstance(hold, Mapping) else hold or ()
    held = array_of("fitw_constraint", constraints := [_constraint(*pair) for pair in pairs])
    options = sized("fitw_fit_options", criterion=number("CRITERION", criterion))
    options.flags = lib.FITW_FIT_KEEP_OUTLIERS if keep_outliers else 0
    options.constraints, options.constraint_count = held, len(constraints)
    tilt = ffi.NULL if reference is None else reference.raw()
    options.noise, options.reference = ffi.NULL if noise is None else noise._raw, tilt
    given = [(text(name), float(value)) for name, value in (values or {}).items()]
    chosen = ffi.new("fitw_option_value[]", given) if given else ffi.NULL
    options.options, options.option_count = chosen, len(given)
    return options, [held, tilt, noise, given, chosen]


def _constraint(name: str, value: Any) -> Any:
    out = ffi.new("fitw_constraint *")
    out.kind = number("CONSTRAINT", name)
    try:
        out.value = float(value)
    except TypeError:
        out.vector = triple(value, name)
    return out
