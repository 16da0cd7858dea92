"""Reads STEP files with the Open CASCADE kernel and prints what arrived as JSON.

    python step_read.py FILE...

For each file: unit, assembly name, warnings of reading and transfer, and each product of the
assembly with its colours, layers, faces, edges, vertices and the kernel's own verdict.
Lengths mm, angles rad. Nothing is compared here.
"""

import json
import sys

from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.GeomAbs import GeomAbs_CurveType as Curve, GeomAbs_SurfaceType as Surface
from OCP.GProp import GProp_GProps
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Quantity import Quantity_Color, Quantity_TypeOfColor
from OCP.STEPCAFControl import STEPCAFControl_Reader
from OCP.STEPControl import STEPControl_Reader
from OCP.TCollection import TCollection_ExtendedString
from OCP.collections import Sequence_TCollection_AsciiString, Sequence_TDF_Label
from OCP.TDataStd import TDataStd_Name, TDataStd_NamedData
from OCP.TDF import TDF_Label
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum as Kind
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS
from OCP.XCAFDoc import XCAFDoc_ColorType, XCAFDoc_DocumentTool, XCAFDoc_ShapeTool

PROPERTIES = ["scan date"] + [
    f"{what} uncertainty (k = 2)"
    for what in ("position", "direction", "radius", "half angle", "major radius", "minor radius")
]


def xyz(v):
    return [v.X(), v.Y(), v.Z()]


def explored(shape, kind, avoid=Kind.TopAbs_SHAPE):
    found = []
    walk = TopExp_Explorer(shape, kind, avoid)
    while walk.More():
        if not any(walk.Current().IsSame(s) for s in found):
            found.append(walk.Current())
        walk.Next()
    return found


def surface_of(face):
    a = BRepAdaptor_Surface(face)
    kind = a.GetType()
    if kind == Surface.GeomAbs_Plane:
        s = a.Plane()
        return "plane", s.Position(), {}
    if kind == Surface.GeomAbs_Cylinder:
        s = a.Cylinder()
        return "cylinder", s.Position(), {"radius": s.Radius()}
    if kind == Surface.GeomAbs_Cone:
        s = a.Cone()
        return "cone", s.Position(), {"radius": s.RefRadius(), "half_angle": s.SemiAngle()}
    if kind == Surface.GeomAbs_Sphere:
        s = a.Sphere()
        return "sphere", s.Position(), {"radius": s.Radius()}
    if kind == Surface.GeomAbs_Torus:
        s = a.Torus()
        radii = {"major_radius": s.MajorRadius(), "minor_radius": s.MinorRadius()}
        return "torus", s.Position(), radii
    return str(kind), None, {}


def face_report(shape):
    face = TopoDS.Face(shape)
    kind, position, sizes = surface_of(face)
    props = GProp_GProps()
    BRepGProp.SurfaceProperties_s(face, props, 1e-10)
    report = {
        "surface": kind,
        "sizes": sizes,
        "area": props.Mass(),
        "centroid": xyz(props.CentreOfMass()),
        "reversed": face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED,
        "valid": BRepCheck_Analyzer(face).IsValid(),
        "tolerance": BRep_Tool.Tolerance_s(face),
        "edges": len(explored(face, Kind.TopAbs_EDGE)),
        "wires": len(explored(face, Kind.TopAbs_WIRE)),
    }
    if position is not None:
        report["location"] = xyz(position.Location())
        report["axis"] = xyz(position.Direction())
        report["x"] = xyz(position.XDirection())
        report["right_handed"] = position.Direct()
    return report


def edge_report(shape):
    a = BRepAdaptor_Curve(TopoDS.Edge(shape))
    first, last = a.FirstParameter(), a.LastParameter()
    report = {"first": first, "last": last, "from": xyz(a.Value(first)), "to": xyz(a.Value(last))}
    if a.GetType() == Curve.GeomAbs_Line:
        report["curve"] = "line"
        report["axis"] = xyz(a.Line().Direction())
    elif a.GetType() == Curve.GeomAbs_Circle:
        c = a.Circle()
        report["curve"] = "circle"
        report["location"] = xyz(c.Location())
        report["axis"] = xyz(c.Axis().Direction())
        report["radius"] = c.Radius()
    else:
        report["curve"] = str(a.GetType())
    return report


def name_of(label):
    name = TDataStd_Name()
    return name.Get().ToExtString() if label.FindAttribute(TDataStd_Name.GetID_s(), name) else None


def colours_of(tool, *labels):
    found = []
    for label in labels:
        for kind in (XCAFDoc_ColorType.XCAFDoc_ColorSurf, XCAFDoc_ColorType.XCAFDoc_ColorCurv,
                     XCAFDoc_ColorType.XCAFDoc_ColorGen):
            colour = Quantity_Color()
            if tool.GetColor_s(label, kind, colour):
                rgb = colour.Values(Quantity_TypeOfColor.Quantity_TOC_sRGB)
                found.append([kind.name[len("XCAFDoc_Color"):], *rgb])
    return found


def children(label):
    found = Sequence_TDF_Label()
    XCAFDoc_ShapeTool.GetSubShapes_s(label, found)
    return [found.Value(i + 1) for i in range(found.Length())]


def layers_of(tool, *labels):
    found = []
    for label in labels:
        layers = tool.GetLayers(label)
        found += [layers.Value(i + 1).ToExtString() for i in range(layers.Length())]
    return found


def properties_of(label):
    """Named numbers and texts of a product; the binding only lets us ask for known names."""
    found = {}
    data = TDataStd_NamedData()
    if label.FindAttribute(TDataStd_NamedData.GetID_s(), data):
        for name in PROPERTIES:
            key = TCollection_ExtendedString(name)
            if data.HasReal(key):
                found[name] = data.GetReal(key)
            elif data.HasString(key):
                found[name] = data.GetString(key).ToExtString()
    return found


def product_report(component, tools):
    referred = TDF_Label()
    XCAFDoc_ShapeTool.GetReferredShape_s(component, referred)
    shape = XCAFDoc_ShapeTool.GetShape_s(component)
    trsf = shape.Location().Transformation()
    labels = [referred, component, *children(referred)]
    return {
        "name": name_of(referred),
        "occurrence": name_of(component),
        "placement": [[trsf.Value(i, j) for j in range(1, 5)] for i in range(1, 4)],
        "colours": colours_of(tools["colour"], *labels),
        "layers": layers_of(tools["layer"], *labels),
        "properties": properties_of(referred),
        "valid": BRepCheck_Analyzer(shape).IsValid(),
        "faces": [face_report(s) for s in explored(shape, Kind.TopAbs_FACE)],
        "edges": [edge_report(s) for s in explored(shape, Kind.TopAbs_EDGE, Kind.TopAbs_FACE)],
        "vertices": [
            xyz(BRep_Tool.Pnt_s(TopoDS.Vertex(s)))
            for s in explored(shape, Kind.TopAbs_VERTEX, Kind.TopAbs_EDGE)
        ],
    }


def warnings_of(session):
    """Every warning and failure of reading and of transfer, with its entity's number."""
    found = []
    model = session.Model()
    process = session.TransferReader().TransientProcess()
    for checks in (session.ModelCheckList(False), process.CheckList(False)):
        checks.Start()
        while checks.More():
            check = checks.Value()
            texts = [check.CWarning(i + 1) for i in range(check.NbWarnings())]
            texts += [check.CFail(i + 1) for i in range(check.NbFails())]
            found += [f"#{checks.Number()}: {t}" for t in texts]
            checks.Next()
    return found


def units_of(path):
    reader = STEPControl_Reader()
    reader.ReadFile(path)
    found = [Sequence_TCollection_AsciiString() for _ in range(3)]
    reader.FileUnits(*found)
    return [[s.Value(i + 1).ToCString() for i in range(s.Length())] for s in found]


def read(path):
    document = TDocStd_Document(TCollection_ExtendedString("XmlOcaf"))
    reader = STEPCAFControl_Reader()
    modes = (reader.SetNameMode, reader.SetColorMode, reader.SetLayerMode, reader.SetMetaMode)
    for mode in (*modes, reader.SetPropsMode, reader.SetProductMetaMode):
        mode(True)
    if reader.ReadFile(path) != IFSelect_ReturnStatus.IFSelect_RetDone:
        return {"read": False}
    transferred = reader.Transfer(document)
    tools = {
        "colour": XCAFDoc_DocumentTool.ColorTool_s(document.Main()),
        "layer": XCAFDoc_DocumentTool.LayerTool_s(document.Main()),
    }
    free = Sequence_TDF_Label()
    XCAFDoc_DocumentTool.ShapeTool_s(document.Main()).GetFreeShapes(free)
    roots = [free.Value(i + 1) for i in range(free.Length())]
    products = []
    for root in roots:
        parts = Sequence_TDF_Label()
        XCAFDoc_ShapeTool.GetComponents_s(root, parts)
        products += [product_report(parts.Value(i + 1), tools) for i in range(parts.Length())]
    return {
        "read": True,
        "transferred": transferred,
        "units": units_of(path),
        "warnings": warnings_of(reader.Reader().WS()),
        "roots": [name_of(r) for r in roots],
        "properties": [properties_of(r) for r in roots],
        "products": products,
    }


if __name__ == "__main__":
    json.dump([read(p) for p in sys.argv[1:]], sys.stdout)
