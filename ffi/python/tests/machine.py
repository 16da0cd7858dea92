"""A made-up machine that is known exactly: a block with a bolt hole, and a plate to be bolted on it.

Machine coordinates, mm: the deck is z = 0, the hole's axis is z, radius 4.5; the block's sides are x, y = ±40.
"""

import numpy as np

HOLE = 4.5
HALF = 40.0


def turned(axis, angle, shift):
    """A pose, 4 × 4, by Rodrigues' formula."""
    k = np.array(axis) / np.linalg.norm(axis)
    cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    out = np.eye(4)
    out[:3, :3] += np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
    out[:3, 3] = shift
    return out


def moved(pose, points):
    return points @ pose[:3, :3].T + pose[:3, 3]


def rings(rows, closed=False):
    """Mesh of rings of points one after another, m × n × 3; the first and last meet if `closed`."""
    rows = np.asarray(rows)
    m, n = rows.shape[:2]
    number = np.arange(m * n).reshape(m, n)
    lower, upper = (number, np.roll(number, -1, 0)) if closed else (number[:-1], number[1:])
    a, b, c, d = lower, np.roll(lower, -1, 1), np.roll(upper, -1, 1), upper
    triangles = np.concatenate([np.stack([a, c, b], -1).reshape(-1, 3), np.stack([a, d, c], -1).reshape(-1, 3)])
    return rows.reshape(-1, 3), triangles.astype(np.uint32)


def circle(radius, z, n, middle=(0.0, 0.0)):
    angle = 2 * np.pi * np.arange(n) / n
    return np.stack([middle[0] + radius * np.cos(angle), middle[1] + radius * np.sin(angle), np.full(n, z)], -1)


def square(half, z, n):
    """As `circle`, where its rays meet a square; corners included when n is a multiple of 8."""
    unit = circle(1.0, 0.0, n)
    out = half * unit / np.abs(unit[:, :2]).max(1, keepdims=True)
    out[:, 2] = z
    return out


def block(n=160):
    """The machine's scan: hole wall, deck, sides; outward normals."""
    wall = [circle(HOLE, z, n) for z in np.linspace(-14.0, -0.5, 28)]
    steps = np.linspace(0.0, 1.0, 60)
    deck = [(1 - s) * circle(HOLE, 0.0, n) + s * square(HALF, 0.0, n) for s in steps]
    sides = [square(HALF, z, n) for z in np.linspace(-0.8, -30.0, 36)]
    return rings(wall + deck + sides)


def plate(middle=(0.0, 0.0), bottom=0.0, thickness=8.0, half=16.0, n=160):
    """The part: a square plate on the deck with a hole of radius 4.5 at `middle`; closed, outward normals."""
    top = bottom + thickness
    return rings(
        [circle(HOLE, bottom, n, middle), circle(HOLE, top, n, middle), square(half, top, n), square(half, bottom, n)],
        closed=True,
    )


def volume(points, triangles):
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def cylinder(radius=12.0, turns=90, rows=40, arc=2 * np.pi):
    """Points exactly on a cylinder about z, 0 to 39 mm high."""
    angle = np.linspace(0, arc, turns, endpoint=arc < 6.28)
    a, z = np.meshgrid(angle, np.arange(float(rows)))
    return np.stack([radius * np.cos(a), radius * np.sin(a), z], -1).reshape(-1, 3)
