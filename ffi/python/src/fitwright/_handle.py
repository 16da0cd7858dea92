"""What every owner of a handle of the C interface can do."""

from __future__ import annotations

from typing import Any, ClassVar, Optional, TypeVar

from ._arrays import Array, view
from ._call import doubles, ffi, lib, matrix, release_with, string
from ._session import Session
from .values import Column, Parameter, Table, Value

H = TypeVar("H", bound="Handle")
V = TypeVar("V", bound=Value)


class Handle:
    """Owner of a handle; released when the last reference goes, views included."""

    #: Noun of its functions: "scan" for fitw_scan_….
    _noun: ClassVar[str]

    def __init__(self, session: Session, raw: Any) -> None:
        self._session = session
        self._raw = raw
        release_with(self, getattr(lib, f"fitw_{self._noun}_release"), raw)

    @classmethod
    def _made(cls: type[H], session: Session, function: Any, *arguments: Any) -> H:
        """What a function makes in its last argument, which may take long."""

        def work() -> H:
            out = ffi.new(f"fitw_{cls._noun} **")
            session.call(function, *arguments, out)
            return cls(session, out[0])

        return session.run(work)

    def _function(self, verb: str) -> Any:
        return getattr(lib, f"fitw_{self._noun}_{verb}")

    def _ask(self, verb: str, *arguments: Any) -> None:
        self._session.call(self._function(verb), self._raw, *arguments)

    def _value(self, verb: str, kind: type[V], *arguments: Any) -> V:
        """A struct with its size."""
        out = kind.empty()
        self._ask(verb, *arguments, out)
        return kind.read(out)

    def _about(self, verb: str, kind: type[V], place: Optional[Any]) -> V:
        return self._value(verb, kind, doubles(place, "place"))

    def _number(self, verb: str, kind: str) -> Any:
        """A number that may take long."""
        out = ffi.new(f"{kind} *")
        self._session.run(lambda: self._ask(verb, out))
        return out[0]

    def _text(self, verb: str, *arguments: Any) -> str:
        out = ffi.new("fitw_str *")
        self._ask(verb, *arguments, out)
        return string(out[0])

    def _texts(self, verb: str, count: int) -> list[str]:
        return [self._text(verb, index) for index in range(count)]

    def _table(self, parameters: list[Parameter], name: str) -> Table:
        """A parameter that is a table."""
        index = _place(parameters, name)
        count = int(parameters[index].value[1]) if parameters[index].value_kind == "table" else 0
        columns = tuple(self._value("table_column", Column, index, column) for column in range(count))
        return Table(columns, self._view("table_view", "double", 1, index).reshape(-1, max(count, 1)))

    def _parameter_uncertainty(self, parameters: list[Parameter], name: str) -> float:
        out = ffi.new("double *")
        self._ask("parameter_uncertainty", _place(parameters, name), out)
        return float(out[0])

    def _pose(self) -> Array:
        out = ffi.new("fitw_pose *")
        self._ask("pose", out)
        return matrix(out)

    def _view(self, verb: str, kind: str, width: int, *arguments: Any) -> Array:
        """Array over the handle's memory."""
        first, count = ffi.new(f"{kind} const **"), ffi.new("size_t *")
        self._ask(verb, *arguments, first, count)
        shape = (count[0], width) if width > 1 else (count[0],)
        return view(self, first[0], shape, {"double": "f8", "uint32_t": "u4"}[kind])


class Text(Handle):
    """A text that was made to be kept."""

    _noun = "text"

    def string(self) -> str:
        """All of it."""
        return self._text("view")


def _place(parameters: list[Parameter], name: str) -> int:
    for index, parameter in enumerate(parameters):
        if parameter.name == name:
            return index
    raise KeyError(f"{name!r} is no parameter; there are {', '.join(p.name for p in parameters)}")
