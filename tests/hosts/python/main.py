"""A host in Python: its own arrays, the machine's axes, bolt holes, a check of the part, STEP for its CAD.

    pip install ./ffi/python
    python main.py front.ply bracket.stl features.step  NAME=x,y,z …

Picks are in scan coordinates, mm: "deck" (becomes z), "side" (becomes x), then pairs of a flat boss and the hole
that opens in it, "boss A", "hole A", …; the first hole becomes the origin. "part A=x,y,z" is where the part's hole
for "hole A" is, machine coordinates.
"""

import sys
from pathlib import Path

import fitwright
import numpy as np


def read_ply(path):
    """The host's own mesh: here read from a binary PLY of floats, in another program already in memory."""
    head, body = Path(path).read_bytes().split(b"end_header\n", 1)
    counts = {words[1]: int(words[2]) for words in map(str.split, head.decode().splitlines()) if words[0] == "element"}
    points = np.frombuffer(body, "<f4", 3 * counts["vertex"]).reshape(-1, 3)
    faces = np.frombuffer(body, [("corners", "u1"), ("of", "<u4", 3)], counts["face"], points.nbytes)
    return points.astype(np.float64), np.ascontiguousarray(faces["of"])


def face(scan, name, pick):
    """A flat face: points grown from a pick, a plane through the inner ones, its outline from all of them."""
    surface = scan.grow(pick, "plane", trim_mm=-1)
    return surface.trim().fit("plane").feature(name, surface), surface


def progress(step, fraction):
    print(f"\r{step}: {fraction:4.0%}", end="", file=sys.stderr)


def main(scan_file, part_file, step_file, *picks):
    pick = {name: [float(x) for x in place.split(",")] for name, place in (p.split("=") for p in picks)}
    context = fitwright.Context(progress=progress)

    points, triangles = read_ply(scan_file)
    scan = context.scan(points, triangles, borrow=True)
    assert np.shares_memory(scan.points, points)  # nothing was copied
    print(f"{len(points)} points, noise {scan.noise_mm:.4f} mm")

    deck, _ = face(scan, "deck", pick["deck"])
    side, _ = face(scan, "side", pick["side"])
    bolted = []
    for name in (name for name in pick if name.startswith("hole ")):
        boss, surface = face(scan, name.replace("hole", "boss"), pick[name.replace("hole", "boss")])
        hole, wall = context.find_hole(name, boss, surface, pick[name])
        bolted.append((name, boss, surface, hole, wall))
    first = bolted[0][3]
    datum = context.datum((deck, "+z", ""), (side, "+x", ""), (first, "", "origin"))
    machine_from_scan = datum.machine_from_scan
    for line in datum.taken:
        print("datum:", line)

    part = context.read_part(part_file)
    scene = fitwright.Scene(part, datum=datum)
    at = scene.scan(scan, "front", machine_from_scan)
    for name, boss, surface, hole, wall in bolted:
        seat = scene.feature(boss.move(machine_from_scan), seat=True, surface=surface, scan=at)
        moved = hole.move(machine_from_scan)
        place = scene.feature(moved, bolt="M8", surface=wall, scan=at)
        scene.mount(place, pick[name.replace("hole", "part")], seat=seat)
        x, y, z = moved.shape.point_mm
        uncertainty = moved.uncertainty()
        print(f"{name}: at {x:.4f} {y:.4f} {z:.4f} radius {moved.shape.size_1:.4f} +- {uncertainty.size_1:.4f}")
    check = scene.check()
    for finding in check:
        print(f"{finding.verdict}: {finding.kind}: {finding.name}: {finding.value_mm:.4f} +- {finding.uncertainty_mm:.4f}")
    air = scene.clearance()
    print(f"deepest corner: {air.min():.4f} at", *np.round(part.points[air.argmin()], 3))

    features = [deck, side] + [feature for _, boss, _, hole, _ in bolted for feature in (boss, hole)]
    context.step_write(step_file, features, machine_from_scan, title="Mill")
    return {"pass": 0, "fail": 1, "undecided": 2}[check.verdict]


if __name__ == "__main__":
    if len(sys.argv) < 7:
        sys.exit(__doc__)
    sys.exit(main(*sys.argv[1:]))
