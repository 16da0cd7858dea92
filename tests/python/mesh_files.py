"""Reads and writes mesh files with libraries of others, and prints what they hold as JSON.

    python mesh_files.py read FILE...     each file by every library that knows its format
    python mesh_files.py write FOLDER     files by every library, with what is in them

trimesh knows GLB, 3MF, OBJ, PLY and STL; the Open CASCADE kernel GLB (taken to millimetres with Z up) and
STL; pye57, over libE57Format, E57. Lengths as the library gives them. Nothing is compared here.
"""

import json
import sys
from pathlib import Path

import numpy as np
import pye57
import trimesh
from OCP.BRep import BRep_Tool
from OCP.Message import Message_ProgressRange
from OCP.RWGltf import RWGltf_CafReader
from OCP.RWMesh import RWMesh_CoordinateSystem
from OCP.RWStl import RWStl
from OCP.TCollection import TCollection_AsciiString, TCollection_ExtendedString
from OCP.TDataStd import TDataStd_Name
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS
from OCP.XCAFDoc import XCAFDoc_DocumentTool


def body(name, points, triangles, colour=None):
    """A body by its box, counts and signed volume: what does not depend on numbering."""
    points, triangles = np.asarray(points, dtype=float), np.asarray(triangles)
    corners = points[triangles] if len(triangles) else np.zeros((0, 3, 3))
    volume = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6
    return {
        "name": name, "triangles": len(triangles), "volume": volume, "colour": colour,
        "low": points.min(axis=0).tolist(), "high": points.max(axis=0).tolist(),
        "middle": points[triangles].mean(axis=(0, 1)).tolist() if len(triangles) else None,
    }


def by_trimesh(path):
    scene = trimesh.load_scene(path, process=False)
    found = []
    for node in scene.graph.nodes_geometry:
        pose, name = scene.graph[node]
        mesh = scene.geometry[name]
        points = trimesh.transform_points(mesh.vertices, pose)
        colour = None
        material = getattr(mesh.visual, "material", None)
        if material is not None and hasattr(material, "baseColorFactor"):
            colour = [int(c) for c in material.baseColorFactor[:3]]
        elif mesh.visual.kind == "vertex":
            colour = [int(c) for c in mesh.visual.vertex_colors[0][:3]]
        triangles = getattr(mesh, "faces", [])
        found.append(body(name, points, triangles, colour))
    return found


def triangulated(shape):
    found, walk = [], TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_FACE)
    while walk.More():
        place = TopLoc_Location()
        mesh = BRep_Tool.Triangulation_s(TopoDS.Face(walk.Current()), place)
        move = place.Transformation()
        nodes = [mesh.Node(i + 1).Transformed(move) for i in range(mesh.NbNodes())]
        points = [(p.X(), p.Y(), p.Z()) for p in nodes]
        triangles = [tuple(n - 1 for n in mesh.Triangle(i + 1).Get()) for i in range(mesh.NbTriangles())]
        found.append((points, triangles))
        walk.Next()
    return found


def by_kernel(path):
    if path.suffix == ".stl":
        mesh = RWStl.ReadFile_s(str(path))
        points = [(p.X(), p.Y(), p.Z()) for p in (mesh.Node(i + 1) for i in range(mesh.NbNodes()))]
        triangles = [tuple(n - 1 for n in mesh.Triangle(i + 1).Get()) for i in range(mesh.NbTriangles())]
        return [body("", points, triangles)]
    document = TDocStd_Document(TCollection_ExtendedString("x"))
    reader = RWGltf_CafReader()
    reader.SetDocument(document)
    reader.SetSystemLengthUnit(0.001)
    reader.SetSystemCoordinateSystem(RWMesh_CoordinateSystem.RWMesh_CoordinateSystem_Zup)
    reader.SetDoublePrecision(True)
    if not reader.Perform(TCollection_AsciiString(str(path)), Message_ProgressRange()):
        raise SystemExit(f"the kernel does not read {path}")
    return [body("", *mesh) for mesh in triangulated(reader.SingleShape())]


def by_pye57(path):
    file = pye57.E57(str(path))
    scans = [file.read_scan(i, ignore_missing_fields=True) for i in range(file.scan_count)]
    return [body("", np.column_stack([s[f"cartesian{a}"] for a in "XYZ"]), []) for s in scans]


def read(path):
    found = {"trimesh": by_trimesh(path)}
    if path.suffix in (".glb", ".stl"):
        found["kernel"] = by_kernel(path)
    return found


def turn(axis, angle, shift):
    move = trimesh.transformations.rotation_matrix(angle, axis)
    move[:3, 3] = shift
    return move


def write(folder):
    """Boxes and cylinders in places of their own; what they are in the file's own coordinates."""
    box = trimesh.creation.box((3.0, 4.0, 5.0))
    round_one = trimesh.creation.cylinder(2.0, 7.0, sections=64)
    moves = [turn((1, 2, 3), 0.7, (10, -20, 30)), turn((-1, 1, 0.5), 2.1, (-5, 6, 7))]
    mirror = np.diag([1.0, 1.0, -1.0, 1.0])
    scene = trimesh.Scene()
    scene.add_geometry(box, node_name="box", geom_name="box", transform=moves[0])
    scene.add_geometry(round_one, node_name="round", geom_name="round", transform=moves[1])
    # One body twice, the second time mirrored.
    scene.add_geometry(box, node_name="other", geom_name="box", transform=moves[1] @ mirror)
    scene.export(folder / "scene.glb")
    plain = trimesh.Scene()
    plain.add_geometry(box, geom_name="box", transform=moves[0])
    plain.add_geometry(round_one, geom_name="round", transform=moves[1])
    plain.export(folder / "scene.3mf")
    # pye57 writes single precision.
    points = np.random.default_rng(7).normal(size=(1000, 3)).astype(np.float32).astype(float)
    quaternion = trimesh.transformations.quaternion_from_matrix(moves[0])
    file = pye57.E57(str(folder / "scan.e57"), mode="w")
    file.write_scan_raw(
        {f"cartesian{a}": points[:, i] for i, a in enumerate("XYZ")},
        rotation=quaternion, translation=moves[0][:3, 3],
    )
    file.write_scan_raw({f"cartesian{a}": points[:, i] for i, a in enumerate("XYZ")})
    file.close()

    def all_of(*meshes):
        bodies = [body("", trimesh.transform_points(m.vertices, move), m.faces) for m, move in meshes]
        return {
            "triangles": sum(b["triangles"] for b in bodies),
            "volume": sum(abs(b["volume"]) for b in bodies),
            "low": np.min([b["low"] for b in bodies], axis=0).tolist(),
            "high": np.max([b["high"] for b in bodies], axis=0).tolist(),
        }

    placed = trimesh.transform_points(points, moves[0])
    both = np.vstack([placed, points])
    return {
        "scene.glb": all_of((box, moves[0]), (round_one, moves[1]), (box, moves[1] @ mirror)),
        "scene.3mf": all_of((box, moves[0]), (round_one, moves[1])),
        "scan.e57": {"points": both.tolist()},
    }


if sys.argv[1] == "write":
    print("\n" + json.dumps(write(Path(sys.argv[2]))))
else:
    print("\n" + json.dumps([read(Path(path)) for path in sys.argv[2:]]))
