"""What goes wrong, as exceptions."""

from __future__ import annotations

from enum import IntEnum


class Code(IntEnum):
    """Codes of :class:`Error`; frozen. A later library may give numbers that are not named here."""

    ARGUMENT = 100
    DUPLICATE_NAME = 110
    UNKNOWN_NAME = 120
    JOB = 130
    BUFFER = 140
    HANDLE = 150
    CANCELLED = 200
    IO = 300
    FORMAT = 310
    UNKNOWN_FORMAT = 320
    UNSUPPORTED = 330
    LIMIT = 340
    TOO_FEW_POINTS = 400
    UNDETERMINED = 410
    NOT_CONVERGED = 420
    PICK_OFF_SURFACE = 430
    EMPTY_REGION = 440
    CONSTRUCTION = 450
    DATUM = 460
    JOIN = 470
    OPEN_PART = 480
    PLUGIN_REFUSED = 500
    PLUGIN = 510
    INTERNAL = 900


class Error(Exception):
    """A call failed; nothing was made.

    ``code`` is one of :class:`Code` (or a bare number of a later library), ``message`` one sentence with what
    was found and what is allowed, ``place`` the function, argument, file or line. Where threads share a
    context, message and place may be missing; the code is always right.
    """

    def __init__(self, code: int, message: str, place: str = "") -> None:
        super().__init__(code, message, place)
        known = code in Code.__members__.values()
        self.code: int = Code(code) if known else code
        self.message = message
        self.place = place

    def __str__(self) -> str:
        return f"{self.message} ({self.place})" if self.place else self.message


class Cancelled(Error):
    """The work was cancelled, by :meth:`Context.cancel` or by a progress callback that returned False."""
