"""Writes kernel.json: the OCCT kernel's own values of the solids of the parts named.

Python 3.11, cadquery-ocp-novtk 8.0.1.1.0 (OCCT 8.0). Lengths in mm, full digits.
"""

import json
import math
import sys

from OCP.Bnd import Bnd_Box
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepGProp import BRepGProp
from OCP.GeomAbs import GeomAbs_Cylinder
from OCP.GProp import GProp_GProps
from OCP.STEPControl import STEPControl_Reader
from OCP.TopAbs import TopAbs_FACE, TopAbs_REVERSED, TopAbs_SOLID
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS


def each(shape, kind):
    explorer = TopExp_Explorer(shape, kind)
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def bores(solid):
    """Inward cylinder faces of one axis and radius with touching ranges, when they make a full turn."""
    found = []
    for face in each(solid, TopAbs_FACE):
        face = TopoDS.Face(face) if hasattr(TopoDS, "Face") else TopoDS.Face_s(face)
        surface = BRepAdaptor_Surface(face)
        if surface.GetType() != GeomAbs_Cylinder:
            continue
        cylinder = surface.Cylinder()
        outward = cylinder.Direct() == (face.Orientation() != TopAbs_REVERSED)
        if outward:
            continue
        p, d = cylinder.Axis().Location(), cylinder.Axis().Direction()
        found.append({
            "point": [p.X(), p.Y(), p.Z()], "axis": [d.X(), d.Y(), d.Z()],
            "radius": cylinder.Radius(),
            "span": surface.LastUParameter() - surface.FirstUParameter(),
            "ends": [surface.FirstVParameter(), surface.LastVParameter()],
        })
    groups = []
    for bore in found:
        for group in groups:
            if same(group[0], bore) and touching(group[0], bore):
                group.append(bore)
                break
        else:
            groups.append([bore])
    full = [g for g in groups if sum(b["span"] for b in g) > 2 * math.pi - 1e-6]
    return [{k: g[0][k] for k in ("point", "axis", "radius")} for g in full]


def same(a, b):
    d = [x - y for x, y in zip(a["point"], b["point"])]
    u = a["axis"]
    along = sum(x * y for x, y in zip(d, u))
    off = math.dist(d, [along * x for x in u])
    parallel = abs(sum(x * y for x, y in zip(u, b["axis"])))
    return off < 1e-6 and parallel > 1 - 1e-12 and abs(a["radius"] - b["radius"]) < 1e-6


def touching(a, b):
    def ends(c):
        shift = sum(x * (y - z) for x, y, z in zip(a["axis"], c["point"], a["point"]))
        sign = sum(x * y for x, y in zip(a["axis"], c["axis"]))
        return sorted(shift + sign * v for v in c["ends"])

    (a0, a1), (b0, b1) = ends(a), ends(b)
    return a0 <= b1 + 1e-6 and b0 <= a1 + 1e-6


def values(path):
    reader = STEPControl_Reader()
    reader.ReadFile(path)
    reader.TransferRoots()
    total = {"file": path.split("/")[-1], "solids": 0, "faces": 0, "volume": 0.0, "area": 0.0, "holes": []}
    box = Bnd_Box()
    for solid in each(reader.OneShape(), TopAbs_SOLID):
        volume, area = GProp_GProps(), GProp_GProps()
        BRepGProp.VolumeProperties_s(solid, volume)
        BRepGProp.SurfaceProperties_s(solid, area)
        BRepBndLib.AddOptimal_s(solid, box, False, False)
        total["solids"] += 1
        total["faces"] += sum(1 for _ in each(solid, TopAbs_FACE))
        total["volume"] += volume.Mass()
        total["area"] += area.Mass()
        total["holes"] += bores(solid)
    low, high = box.CornerMin(), box.CornerMax()
    total["box"] = [low.X(), low.Y(), low.Z(), high.X(), high.Y(), high.Z()]
    return total


if __name__ == "__main__":
    parts = [values(path) for path in sys.argv[2:]]
    with open(sys.argv[1], "w") as out:
        out.write("[\n" + ",\n".join(json.dumps(part) for part in parts) + "\n]\n")
