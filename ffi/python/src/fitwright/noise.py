"""What is known of a scan's noise."""

from __future__ import annotations

from ._handle import Handle


class Noise(Handle):
    """How far the noise of a scan hangs together, for the uncertainty of fits: a large face shows slow noise that a
    small hole in it has too, but cannot show. Made by :meth:`Context.noise`; immutable."""

    _noun = "noise"
