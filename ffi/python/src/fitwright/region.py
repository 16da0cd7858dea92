"""Sets of points of one scan."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Optional

from ._arrays import Array
from ._call import ffi, lib, text
from ._handle import Handle
from .fit import Fit, Hold, fit_options, fitter_id
from .noise import Noise
from .values import Covariance

if TYPE_CHECKING:
    from .scan import Scan


class Region(Handle):
    """A set of points of one scan, which it keeps alive. Immutable; may be used from any thread."""

    _noun = "region"

    @property
    def ids(self) -> Array:
        """Numbers of the points, ascending, uint32; over the region's memory, read only."""
        return self._view("ids_view", "uint32_t", 1)

    def __len__(self) -> int:
        return len(self.ids)

    def trim(self, distance_mm: float = 0.0) -> Region:
        """Without the points nearer than this to an edge of it; 0: twice the scan's resolution, or less where
        that would leave under half of them. Errors: EMPTY_REGION, ARGUMENT."""

        def trim(context: Any, region: Any, distance: float, out: Any) -> Any:
            return lib.fitw_region_trim(context, region, distance, out, ffi.NULL)

        return Region._made(self._session, trim, self._raw, distance_mm)

    def fit(
        self, fitter: str, *, criterion: str = "least-squares", hold: Optional[Hold] = None,
        keep_outliers: bool = False, noise: Optional[Noise] = None, reference: Optional[Covariance] = None,
        options: Optional[Mapping[str, float]] = None,
    ) -> Fit:
        """Fits a shape to the points, with their normals and the scan's noise.

        `fitter`: "plane", "line", "circle", "sphere", "cylinder", "cone", "torus", or an id (see
        :meth:`Context.fitters`). `criterion`: "least-squares", "minimum-zone"; circle, sphere and cylinder also
        "maximum-inscribed", "minimum-circumscribed". `hold`: what is known of the shape, held exactly:
        ``{"radius": 8.0}`` or pairs; radius, major_radius, minor_radius (mm), half_angle (rad), parallel,
        perpendicular (directions), through (a place, mm). `noise`: what is known of the scan's, see
        :meth:`Context.noise`. `reference`: covariance of the feature that a held direction was taken from.
        `options` of a plug-in's fitter by name, mm and rad, a switch 1 or 0; it takes no criterion and no `hold`.

        A poor fit is a fit with a poor quality. Errors: UNKNOWN_NAME, TOO_FEW_POINTS, UNDETERMINED,
        NOT_CONVERGED, ARGUMENT; of plug-ins PLUGIN, PLUGIN_REFUSED.
        """
        chosen, _held = fit_options(criterion, hold, keep_outliers, noise, reference, options)
        return Fit._made(
            self._session, lib.fitw_fit_region, text(fitter_id(fitter)), self._raw, chosen
        )


def region_of(scan: Scan, verb: str, *arguments: Any) -> Region:
    """What a function fitw_region_… makes of a scan."""
    return Region._made(scan._session, getattr(lib, f"fitw_region_{verb}"), scan._raw, *arguments)
