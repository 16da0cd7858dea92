"""Solves orthogonal-distance problems with a general-purpose optimiser (SciPy) and prints the answers.

    python least_squares.py FILE

FILE is JSON: a list of {kind, points: [[x, y, z], ...], start: {point, axis, sizes}}. Printed is a
list of {point, axis, sizes, seconds, cost} in the same order, lengths and angles as given.

Each problem: scipy.optimize.least_squares (trust region, analytic Jacobian, tightest tolerances),
then plain Gauss-Newton steps, because a stop on the cost leaves half of the digits behind. Points
are centred first; the clock runs over the optimiser, the steps after it are not counted.
"""

import json
import sys
import time

import numpy as np
from scipy.optimize import least_squares

# Unknowns of each kind: shift in the local frame (0 1 2), turn (3 4), sizes (6 7).
FREE = {
    "plane": [2, 3, 4],
    "circle": [0, 1, 2, 3, 4, 6],
    "sphere": [0, 1, 2, 6],
    "cylinder": [0, 1, 3, 4, 6],
    "cone": [0, 1, 3, 4, 6, 7],
    "torus": [0, 1, 2, 3, 4, 6, 7],
}


def frame(axis):
    """Matrix whose columns are an orthonormal frame, the third along `axis`."""
    w = np.asarray(axis, float)
    w = w / np.linalg.norm(w)
    u = np.cross(w, np.eye(3)[np.argmin(np.abs(w))])
    u /= np.linalg.norm(u)
    return np.column_stack([u, np.cross(w, u), w])


def placed(start, free, p):
    """Point, frame and sizes after the unknowns `p` move the start: turned by R(tx) R(ty)."""
    full = np.zeros(8)
    full[free] = p
    basis = start["frame"]
    cx, sx, cy, sy = np.cos(full[3]), np.sin(full[3]), np.cos(full[4]), np.sin(full[4])
    rx = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
    ry = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    return start["point"] + basis @ full[:3], basis @ rx @ ry, start["sizes"] + full[6:]


def residuals(kind, x, sizes):
    """Distances, unit normals and derivatives by the sizes at local points `x`."""
    zero, one = np.zeros(len(x)), np.ones(len(x))
    up = np.column_stack([zero, zero, one])
    if kind == "plane":
        return [(x[:, 2], up, zero, zero)]
    if kind == "sphere":
        r = np.linalg.norm(x, axis=1)
        return [(r - sizes[0], x / r[:, None], -one, zero)]
    rho = np.hypot(x[:, 0], x[:, 1])
    e = np.column_stack([x[:, 0] / rho, x[:, 1] / rho, zero])
    if kind == "circle":
        return [(rho - sizes[0], e, -one, zero), (x[:, 2], up, zero, zero)]
    if kind == "cylinder":
        return [(rho - sizes[0], e, -one, zero)]
    out = rho - sizes[0]
    if kind == "cone":
        c, s = np.cos(sizes[1]), np.sin(sizes[1])
        return [(out * c - x[:, 2] * s, e * c - up * s, -c * one, -out * s - x[:, 2] * c)]
    h = np.hypot(out, x[:, 2])
    normal = e * (out / h)[:, None] + up * (x[:, 2] / h)[:, None]
    return [(h - sizes[1], normal, -out / h, -one)]


def system(kind, points, start, free, p):
    """Residuals and their derivatives by the unknowns at `p`."""
    full = np.zeros(8)
    full[free] = p
    origin, basis, sizes = placed(start, free, p)
    moved = points - origin
    d, rows = [], []
    # Axes, in the start's frame, that the two turns go about.
    first = start["frame"] @ np.array([1.0, 0, 0])
    cx, sx = np.cos(full[3]), np.sin(full[3])
    second = start["frame"] @ np.array([0, cx, sx])
    for value, n, s0, s1 in residuals(kind, moved @ basis, sizes):
        outer = n @ basis.T
        turning = np.cross(moved, outer)
        columns = [-(outer @ start["frame"]), -(turning @ first)[:, None], -(turning @ second)[:, None]]
        rows.append(np.column_stack([*columns, np.zeros(len(value)), s0, s1])[:, free])
        d.append(value)
    return np.concatenate(d), np.vstack(rows)


def solve(problem):
    """Answer of one problem."""
    kind, points = problem["kind"], np.array(problem["points"])
    free, centre = FREE[kind], points.mean(axis=0)
    given = problem["start"]
    start = {
        "point": np.array(given["point"]) - centre,
        "frame": frame(given["axis"]),
        "sizes": np.array(given["sizes"], float),
    }
    points = points - centre
    begin = time.perf_counter()
    found = least_squares(
        lambda p: system(kind, points, start, free, p)[0],
        np.zeros(len(free)),
        jac=lambda p: system(kind, points, start, free, p)[1],
        method="trf",
        x_scale="jac",
        xtol=1e-15,
        ftol=1e-15,
        gtol=1e-15,
        max_nfev=500,
    )
    seconds = time.perf_counter() - begin
    p = found.x
    for _ in range(8):
        d, jacobian = system(kind, points, start, free, p)
        p = p - np.linalg.lstsq(jacobian, d, rcond=None)[0]
    origin, basis, sizes = placed(start, free, p)
    d, _ = system(kind, points, start, free, p)
    return {
        "point": (origin + centre).tolist(),
        "axis": basis[:, 2].tolist(),
        "sizes": sizes.tolist(),
        "seconds": seconds,
        "cost": float(d @ d),
    }


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        problems = json.load(file)
    # Warm up what is loaded on first use.
    solve(problems[0])
    print(json.dumps([solve(problem) for problem in problems]))


main()
