"""Fitwright: fits ideal shapes to 3D scans of machines and checks whether a designed part fits.

Over the C interface, whose library the package carries. Millimetre, radian, double, right-handed coordinates;
names end in _mm and _rad. A frame is in the name, in product order: machine_from_scan @ scan point. Poses are
4 × 4 arrays, places and directions three numbers, kinds and verdicts words. Begin with :class:`Context`.

    >>> import fitwright
    >>> scan = fitwright.Context().read_scan("front.ply")            # doctest: +SKIP
    >>> fit = scan.grow((70, -138, 40), "cylinder").fit("cylinder")  # doctest: +SKIP
    >>> fit.shape.size_1, fit.uncertainty().size_1                   # doctest: +SKIP

Calls raise :class:`Error` with a code, a message and a place; words that are not known raise ValueError.
"""

from ._call import check_version

check_version()

from .adjustment import Adjustment  # noqa: E402
from .check import Check, MadePart, Scene  # noqa: E402
from .context import Context, build, known, version  # noqa: E402
from .datum import Datum  # noqa: E402
from .errors import Cancelled, Code, Error  # noqa: E402
from .feature import Feature  # noqa: E402
from .fit import Fit  # noqa: E402
from .job import Job, Outcome  # noqa: E402
from .join import Join  # noqa: E402
from .merged import Merged  # noqa: E402
from .noise import Noise  # noqa: E402
from .part import Part  # noqa: E402
from .region import Region  # noqa: E402
from .saved_datum import Changes, SavedDatum  # noqa: E402
from .scan import Scan  # noqa: E402
from .survey import Survey  # noqa: E402
from .values import (  # noqa: E402
    Finding, InsertionLimits, LengthError, Move, Shape, Table, ToolLimits, Warming,
)

__all__ = [
    "Adjustment", "Cancelled", "Changes", "Check", "Code", "Context", "Datum", "Error", "Feature", "Finding", "Fit", "InsertionLimits", "Job",
    "Join", "LengthError", "MadePart", "Merged", "Move", "Noise", "Outcome", "Part", "Region", "SavedDatum", "Scan", "Scene", "Shape", "Survey", "Table",
    "ToolLimits", "Warming",
    "build", "known", "version",
]
__version__ = version()
