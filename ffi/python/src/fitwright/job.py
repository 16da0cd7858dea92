"""Whole jobs."""

from __future__ import annotations

import json
import os
from typing import Any, Union

from ._call import lib, text
from ._handle import Handle
from .check import Check
from .feature import Feature
from .values import OutcomeInfo


class Outcome(Handle):
    """What the run of a job found. Immutable; may be used from any thread."""

    _noun = "outcome"

    @property
    def result(self) -> dict[str, Any]:
        """What the command line writes to result.json."""
        found: dict[str, Any] = json.loads(self._text("json"))
        return found

    def describe(self) -> OutcomeInfo:
        """Verdict, counts and frame."""
        return self._value("describe", OutcomeInfo)

    @property
    def features(self) -> list[Feature]:
        """The features, machine coordinates."""
        count = self.describe().feature_count
        function = lib.fitw_outcome_feature
        return [Feature._made(self._session, function, self._raw, i) for i in range(count)]

    @property
    def check(self) -> Check:
        """The findings."""
        return Check._made(self._session, lib.fitw_outcome_check, self._raw)

    def write(self, folder: Union[str, os.PathLike[str]], *, scan_machine: bool = False) -> None:
        """Writes result.json, features.step, report.html and with a part part-clearance.ply into a folder, which
        is made if need be; with `scan_machine` the first scan in machine coordinates, too. Error: IO."""
        flags = lib.FITW_OUTCOME_SCAN_MACHINE if scan_machine else 0
        place = text(os.fspath(folder))
        self._session.run(lambda: self._ask("write", place, flags))


class Job(Handle):
    """A job: which scans, features, datum system, part and checks, read and validated. Immutable."""

    _noun = "job"

    def run(self) -> Outcome:
        """Runs it. Errors: any; the message names the scan, feature or part."""
        return Outcome._made(self._session, lib.fitw_job_run, self._raw)
