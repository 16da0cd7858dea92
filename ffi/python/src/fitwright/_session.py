"""A context of the C interface with what its calls need: threads, callbacks, cancelling, the last error."""

from __future__ import annotations

import itertools
import threading
import weakref
from typing import Any, Callable, Optional, TypeVar

from ._call import ffi, lib, release_with, sized, string
from .errors import Cancelled, Code, Error

T = TypeVar("T")
Progress = Callable[[str, float], Optional[bool]]
Log = Callable[[str, str], None]


class Session:
    """What :class:`Context` and everything made with it share."""

    def __init__(
        self, threads: int, memory_limit: int, progress: Optional[Progress], log: Optional[Log]
    ) -> None:
        self.progress = progress
        self.log = log
        self.cancelled = False
        self._thrown: list[BaseException] = []
        # The library holds a weak handle: the session must be free to go, and goes with the context.
        self._self = ffi.new_handle(weakref.ref(self))
        options = sized("fitw_context_options", threads=threads, memory_limit=memory_limit)
        if progress is not None:
            options.progress, options.progress_user = _on_progress, self._self
        if log is not None:
            options.log, options.log_user = _on_log, self._self
        out = ffi.new("fitw_context **")
        status = lib.fitw_context_create(options, out)
        if status != lib.FITW_OK:
            raise Error(status, f"no context of {threads} threads and memory limit {memory_limit}")
        self.raw = out[0]
        release_with(self, lib.fitw_context_release, self.raw)

    def call(self, function: Any, *arguments: Any) -> None:
        """A call that is soon done."""
        self.check(function(self.raw, *arguments))

    def check(self, status: int) -> None:
        """Raises what a status says."""
        if status == lib.FITW_OK:
            return
        if status == lib.FITW_E_CANCELLED and self._thrown:
            raise self._thrown.pop(0)
        raise self._error(status)

    def run(self, work: Callable[[], T]) -> T:
        """Work that may take long: Ctrl-C cancels it and is raised when it has ended.

        Python's handlers of signals run on the main thread and between its own steps only, so there the
        work is done by another thread while this one waits.
        """
        if threading.current_thread() is not threading.main_thread():
            return self._work(work)
        ended = threading.Event()
        results: list[T] = []
        failures: list[BaseException] = []

        def body() -> None:
            try:
                results.append(self._work(work))
            except BaseException as failure:  # handed to the waiting thread
                failures.append(failure)
            ended.set()

        worker = threading.Thread(target=body, name="fitwright")
        try:
            worker.start()
        except BaseException as raised:
            if not isinstance(raised, RuntimeError):  # of a signal's handler: the worker may be on its way
                lib.fitw_context_cancel(self.raw)
            raise
        interrupt: Optional[BaseException] = None
        while not ended.is_set():
            try:
                # A wait without end cannot be interrupted on every system.
                ended.wait(0.5)
            except BaseException as raised:  # of a signal's handler
                interrupt = interrupt or raised
                lib.fitw_context_cancel(self.raw)
        if interrupt is not None:
            self._resume()
            raise interrupt
        if failures:
            raise failures[0]
        return results[0]

    def _work(self, work: Callable[[], T]) -> T:
        try:
            return work()
        except BaseException:
            # A callback that raised or said stop cancelled this work, not what comes later.
            self._resume()
            raise

    def _resume(self) -> None:
        if not self.cancelled:
            lib.fitw_context_resume(self.raw)

    def _error(self, status: int) -> Error:
        last = ffi.new("fitw_status *")
        words = ["", ""]
        if lib.fitw_context_error_status(self.raw, last) == lib.FITW_OK and last[0] == status:
            words = [self._words(lib.fitw_context_error_message), self._words(lib.fitw_context_error_place)]
        out = ffi.new("fitw_str *")
        lib.fitw_status_name(status, out)
        kind = Cancelled if status == Code.CANCELLED else Error
        return kind(status, words[0] or string(out[0]), words[1])

    def _words(self, reader: Any) -> str:
        need = ffi.new("size_t *")
        reader(self.raw, ffi.NULL, 0, need)
        if need[0] < 2:
            return ""
        buffer = ffi.new("char[]", need[0])
        reader(self.raw, buffer, need[0], ffi.NULL)
        return bytes(ffi.string(buffer)).decode(errors="replace")

    def keep(self, raised: BaseException) -> None:
        """An exception of a callback, to be raised where the call was made."""
        self._thrown.append(raised)


def lend(arrays: Any) -> Any:
    """Keeps arrays alive until the library gives back what this returns, by :data:`give_back`."""
    key = next(_keys)
    _lent[key] = arrays
    return ffi.cast("void *", key)


_lent: dict[int, Any] = {}
_keys = itertools.count(1)


@ffi.callback("void(void *)")  # type: ignore[untyped-decorator, unused-ignore]
def give_back(user: Any, lent: dict[int, Any] = _lent) -> None:
    """The release callback of borrowed arrays; called on any thread."""
    lent.pop(int(ffi.cast("uintptr_t", user)), None)


@ffi.callback("int32_t(void *, fitw_str, double)", error=1)  # type: ignore[untyped-decorator, unused-ignore]
def _on_progress(user: Any, step: Any, fraction: float) -> int:
    session = ffi.from_handle(user)()
    if session is None:
        return 0
    try:
        return 1 if session.progress(string(step), fraction) is False else 0
    except BaseException as raised:  # nothing may pass through the library
        session.keep(raised)
        return 1


@ffi.callback("void(void *, int32_t, fitw_str)")  # type: ignore[untyped-decorator, unused-ignore]
def _on_log(user: Any, level: int, line: Any) -> None:
    session = ffi.from_handle(user)()
    if session is None:
        return
    # What it raises is printed to standard error by cffi: nobody waits for a log.
    session.log("error" if level == lib.FITW_LOG_ERROR else "note", string(line))
