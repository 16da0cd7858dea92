"""Times the questions of the fit check with general-purpose libraries: Coal, FCL, Open3D, libigl.

    python distances.py FOLDER

FOLDER holds raw little-endian arrays: `scan`, `clear`, `sunk`, each as `.points` (three 64-bit floats a
point) and `.triangles` (three 32-bit integers). Printed is a JSON object, question by library: the median
of some runs in seconds and the answer (a distance in mm, a count, or a sum of distances).
"""

import json
import statistics
import sys
import time

import coal
import fcl
import igl
import numpy as np
import open3d


def mesh(folder, name):
    points = np.fromfile(f"{folder}/{name}.points", "<f8").reshape(-1, 3)
    return points, np.fromfile(f"{folder}/{name}.triangles", "<i4").reshape(-1, 3)


def timed(runs, ask):
    """Median of the seconds of some runs, the first left out, and the last answer."""
    seconds = []
    for _ in range(runs + 1):
        begin = time.perf_counter()
        answer = ask()
        seconds.append(time.perf_counter() - begin)
    return statistics.median(seconds[1:]), answer


def coal_model(points, triangles):
    model = coal.BVHModelOBBRSS()
    model.beginModel(len(triangles), len(points))
    model.addVertices(points)
    model.addTriangles(triangles.astype(np.int32))
    model.endModel()
    return model


def fcl_model(points, triangles):
    model = fcl.BVHModel()
    model.beginModel(len(points), len(triangles))
    model.addSubModel(points, triangles)
    model.endModel()
    return model


def main():
    folder = sys.argv[1]
    scan, clear, sunk = (mesh(folder, name) for name in ["scan", "clear", "sunk"])
    out = {}

    def put(question, library, runs, ask, answer):
        seconds, found = timed(runs, ask)
        out.setdefault(question, {})[library] = {"seconds": seconds, "answer": float(answer(found))}

    nothing = lambda _: 0
    put("structure", "Coal", 1, lambda: (coal_model(*scan), coal_model(*clear)), nothing)
    put("structure", "FCL", 1, lambda: (fcl_model(*scan), fcl_model(*clear)), nothing)

    there = coal.Transform3s.Identity()
    ground, part, deep = coal_model(*scan), coal_model(*clear), coal_model(*sunk)

    def coal_distance():
        return coal.distance(part, there, ground, there, coal.DistanceRequest(), coal.DistanceResult())

    put("least distance", "Coal", 21, coal_distance, lambda d: d)
    request = coal.CollisionRequest(coal.CollisionRequestFlag.CONTACT, 10_000_000)
    put(
        "touching pairs",
        "Coal",
        11,
        lambda: coal.collide(deep, there, ground, there, request, coal.CollisionResult()),
        lambda n: n,
    )
    objects = [fcl.CollisionObject(fcl_model(*m), fcl.Transform()) for m in [scan, clear]]
    put(
        "least distance",
        "FCL",
        21,
        lambda: fcl.distance(objects[1], objects[0], fcl.DistanceRequest(), fcl.DistanceResult()),
        lambda d: d,
    )

    def rays(points, triangles):
        scene = open3d.t.geometry.RaycastingScene(nthreads=2)
        scene.add_triangles(points.astype(np.float32), triangles.astype(np.uint32))
        return scene

    scene = rays(*scan)
    corners = clear[0].astype(np.float32)
    total = lambda d: np.abs(d.numpy()).sum()
    put("corners", "Open3D", 5, lambda: scene.compute_signed_distance(corners, nthreads=2), total)
    put("corners unsigned", "Open3D", 5, lambda: scene.compute_distance(corners, nthreads=2), total)
    scene = rays(*sunk)
    points = scan[0][:527_000]
    single = points.astype(np.float32)
    put("scan points", "Open3D", 3, lambda: scene.compute_signed_distance(single, nthreads=2), total)
    put(
        "scan points",
        "libigl",
        3,
        lambda: igl.signed_distance(points, *sunk, sign_type=igl.SIGNED_DISTANCE_TYPE_PSEUDONORMAL),
        lambda found: np.abs(found[0]).sum(),
    )
    print(json.dumps(out))


main()
