"""Between Python's values and those of the C interface."""

from __future__ import annotations

import weakref
from collections.abc import Iterable
from functools import lru_cache
from typing import Any, Optional

import numpy as np

from . import _native

ffi: Any = _native.ffi
lib: Any = _native.lib

#: Memory that a struct of the C interface points into, by the struct.
_behind: weakref.WeakKeyDictionary[Any, Any] = weakref.WeakKeyDictionary()


def check_version() -> None:
    """The library beside this package is the one that its declarations are of."""
    loaded = lib.fitw_abi_version()
    if loaded >> 16 != lib.FITW_ABI_MAJOR or loaded & 0xFFFF < lib.FITW_ABI_MINOR:
        raise ImportError(
            f"libfitwright has interface {loaded >> 16}.{loaded & 0xFFFF}, "
            f"this package needs {lib.FITW_ABI_MAJOR}.{lib.FITW_ABI_MINOR}: install it anew"
        )


@lru_cache(maxsize=None)
def names(group: str) -> dict[int, str]:
    """Words for the constants of a group: {10: "plane", …} for "KIND"."""
    prefix = f"FITW_{group}_"
    found = [name for name in dir(lib) if name.startswith(prefix)]
    return {getattr(lib, name): name[len(prefix) :].lower().replace("_", "-") for name in found}


def name(group: str, value: int) -> str:
    """The word for a value; of one that only a later library knows, its number."""
    return names(group).get(value, str(value))


def number(group: str, word: str) -> int:
    """The value that a word stands for."""
    for value, known in names(group).items():
        if known == word.replace("_", "-"):
            return value
    known_words = ", ".join(sorted(names(group).values()))
    raise ValueError(f"{word!r} is no {group.lower()}; there are {known_words}")


def text(value: str) -> Any:
    """A ``fitw_str``; to be kept in a variable while a struct that it is copied into is used."""
    encoded = value.encode()
    held = ffi.new("char[]", encoded)
    out = ffi.new("fitw_str *", (held, len(encoded)))[0]
    _behind[out] = held
    return out


def string(value: Any) -> str:
    """The text of a ``fitw_str``."""
    return "" if value.len == 0 else bytes(ffi.buffer(value.ptr, value.len)).decode()


def release_with(owner: object, release: Any, raw: Any) -> None:
    """Releases a handle when its owner goes."""
    ending: Any = weakref.finalize(owner, release, raw)
    # Not at exit: arrays over the library's memory may still be read then.
    ending.atexit = False


def sized(struct: str, /, **fields: Any) -> Any:
    """A struct of the C interface, zero but for its size and the fields given."""
    out = ffi.new(f"{struct} *")
    out.struct_size = ffi.sizeof(struct)
    for field, value in fields.items():
        setattr(out, field, value)
    return out


def array_of(kind: str, structs: list[Any]) -> Any:
    """Structs side by side, NULL for none."""
    return ffi.new(f"{kind}[]", [s[0] for s in structs]) if structs else ffi.NULL


def triple(value: Iterable[float], what: str) -> list[float]:
    """Three numbers."""
    out = [float(x) for x in value]
    if len(out) != 3:
        raise ValueError(f"{what} has {len(out)} numbers instead of x, y, z")
    return out


def doubles(value: Optional[Iterable[float]], what: str) -> Any:
    """``double[3]``, NULL for None."""
    return ffi.NULL if value is None else ffi.new("double[3]", triple(value, what))


def pose(value: Any) -> Any:
    """``fitw_pose *`` of a 4 × 4 matrix; NULL for None."""
    if value is None:
        return ffi.NULL
    matrix = np.asarray(value, dtype=np.float64)
    if matrix.shape != (4, 4) or (matrix[3] != [0, 0, 0, 1]).any():
        raise ValueError("a pose is a 4 × 4 matrix whose last row is 0, 0, 0, 1")
    return ffi.new("fitw_pose *", (matrix[:3, :3].ravel().tolist(), matrix[:3, 3].tolist()))


def matrix(value: Any) -> np.ndarray[Any, np.dtype[np.float64]]:
    """4 × 4 matrix of a ``fitw_pose``."""
    out = np.eye(4)
    out[:3, :3] = np.reshape(list(value.rotation), (3, 3))
    out[:3, 3] = list(value.translation_mm)
    return out
