"""numpy arrays in and out of the C interface without copying."""

from __future__ import annotations

from typing import Any, Optional

import numpy as np

from ._call import ffi, lib, number, sized

Array = np.ndarray[Any, np.dtype[Any]]


def address(array: Optional[Array]) -> Any:
    """Where an array's elements lie; NULL for None."""
    return ffi.NULL if array is None else ffi.cast("void *", array.__array_interface__["data"][0])


def places(value: Any, what: str) -> Array:
    """n × 3 numbers, double or float, each row side by side: the array itself if it is so."""
    array = np.asarray(value)
    if array.dtype not in (np.dtype(np.float64), np.dtype(np.float32)):
        array = array.astype(np.float64)
    return _rows(array, what)


def corners(value: Any) -> Array:
    """n × 3 point numbers, uint32: the array itself, or the same memory, if it can be."""
    array = np.asarray(value)
    if array.dtype.kind not in "iu":
        raise ValueError(f"triangles are point numbers, not {array.dtype}")
    if array.dtype != np.dtype(np.uint32):
        if array.size and not 0 <= int(array.min()) <= int(array.max()) < 2**32:
            raise ValueError("triangles: a point number is negative or over 4294967295")
        array = array.view(np.uint32) if array.dtype == np.dtype(np.int32) else array.astype(np.uint32)
    return _rows(array, "triangles")


def ids(value: Any) -> Array:
    """Point numbers side by side, uint32."""
    array = np.asarray(value)
    if array.ndim != 1 or (array.size and array.dtype.kind not in "iu"):
        raise ValueError("ids are one row of point numbers")
    if array.size and not 0 <= int(array.min()) <= int(array.max()) < 2**32:
        raise ValueError("ids: a point number is negative or over 4294967295")
    return np.ascontiguousarray(array, dtype=np.uint32)


def mesh(points: Any, triangles: Any, normals: Any, unit: str) -> tuple[Any, list[Array]]:
    """``fitw_mesh *`` and the arrays that it points into."""
    xyz = places(points, "points")
    held = [xyz]
    out = sized("fitw_mesh", unit=number("UNIT", unit), points=address(xyz), point_count=len(xyz))
    out.point_stride, out.point_scalar = _stride(xyz), _scalar(xyz)
    if normals is not None:
        along = places(normals, "normals")
        if len(along) != len(xyz):
            raise ValueError(f"{len(along)} normals for {len(xyz)} points")
        held.append(along)
        out.normals, out.normal_stride = address(along), _stride(along)
        out.normal_scalar = _scalar(along)
    if triangles is not None:
        of = corners(triangles)
        held.append(of)
        out.triangles, out.triangle_count = ffi.cast("uint32_t *", address(of)), len(of)
        out.triangle_stride = _stride(of)
    return out, held


def fit_points(points: Any, normals: Any, pick: Any, noise_mm: float) -> tuple[Any, list[Any]]:
    """``fitw_points *`` and what it points into; `pick` is a ``double[3]`` or NULL."""
    xyz = places(points, "points")
    held = [xyz, pick]
    out = sized("fitw_points", points=address(xyz), count=len(xyz), point_stride=_stride(xyz))
    out.scalar, out.pick_mm, out.noise_mm = _scalar(xyz), pick, noise_mm
    if normals is not None:
        along = _rows(np.asarray(normals, dtype=xyz.dtype), "normals")
        if len(along) != len(xyz):
            raise ValueError(f"{len(along)} normals for {len(xyz)} points")
        held.append(along)
        out.normals, out.normal_stride = address(along), _stride(along)
    return out, held


def view(owner: object, first: Any, shape: tuple[int, ...], dtype: Any) -> Array:
    """Array over memory of a handle, which it keeps alive; read only."""
    if first == ffi.NULL:
        return np.empty((0, *shape[1:]), dtype=dtype)
    return np.asarray(_Lent(owner, int(ffi.cast("uintptr_t", first)), shape, np.dtype(dtype)))


def output(out: Optional[Array], count: int, what: str) -> Array:
    """The caller's array of `count` doubles to be written to, or a new one."""
    if out is None:
        return np.empty(count)
    fits = out.dtype == np.dtype(np.float64) and out.shape == (count,)
    if not (fits and out.flags.c_contiguous and out.flags.writeable):
        raise ValueError(f"{what}: out must be {count} doubles side by side that may be written to")
    return out


class _Lent:
    """What numpy asks for the memory, and who owns it."""

    def __init__(self, owner: object, at: int, shape: tuple[int, ...], dtype: np.dtype[Any]) -> None:
        self.owner = owner
        self.__array_interface__ = {
            "version": 3, "shape": shape, "typestr": dtype.str, "data": (at, True),
        }


def _rows(array: Array, what: str) -> Array:
    if array.ndim != 2 or array.shape[1] != 3:
        raise ValueError(f"{what}: shape {array.shape} instead of (n, 3)")
    across, along = array.strides
    whole = along == array.itemsize and across >= 3 * along and across % along == 0
    if array.flags.aligned and array.dtype.isnative and (whole or array.flags.c_contiguous):
        return array
    return np.ascontiguousarray(array, dtype=array.dtype.newbyteorder("="))


def _stride(array: Array) -> int:
    return 0 if array.flags.c_contiguous else int(array.strides[0])


def _scalar(array: Array) -> int:
    return int(lib.FITW_SCALAR_F64 if array.dtype == np.dtype(np.float64) else lib.FITW_SCALAR_F32)
