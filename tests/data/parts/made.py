"""Writes the newer of the kernel's own parts: conics as profiles and edges, nested assemblies.

    python made.py FOLDER

Python 3.11, cadquery-ocp-novtk 8.0.1.1.0 (OCCT 8.0).
"""

import math
import sys

from OCP.BRep import BRep_Builder
from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakeWire
from OCP.BRepPrimAPI import (BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCone, BRepPrimAPI_MakeCylinder,
                             BRepPrimAPI_MakeHalfSpace, BRepPrimAPI_MakeRevol)
from OCP.gp import gp_Ax1, gp_Ax2, gp_Circ, gp_Dir, gp_Elips, gp_Hypr, gp_Parab, gp_Pln, gp_Pnt, gp_Trsf, gp_Vec
from OCP.Interface import Interface_Static
from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS_Compound

FOLDER = sys.argv[1]


def write(name, *roots, schema="AP214IS"):
    writer = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.schema", schema)
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    Interface_Static.SetIVal_s("write.step.assembly", 1)
    for root in roots:
        writer.Transfer(root, STEPControl_StepModelType.STEPControl_AsIs)
    writer.Write(f"{FOLDER}/{name}")


def segment(a, b):
    return BRepBuilderAPI_MakeEdge(gp_Pnt(*a), gp_Pnt(*b)).Edge()


def turned(curve, first, last):
    """The solid between a curve in the plane y = 0 and the z axis, turned about it."""
    def at(t):
        p = curve_point(curve, t)
        return p.X(), p.Y(), p.Z()
    (x0, _, z0), (x1, _, z1) = at(first), at(last)
    wire = BRepBuilderAPI_MakeWire(BRepBuilderAPI_MakeEdge(curve, first, last).Edge())
    if x1 > 1e-9:
        wire.Add(segment((x1, 0, z1), (0, 0, z1)))
    wire.Add(segment((0, 0, z1), (0, 0, z0)))
    if x0 > 1e-9:
        wire.Add(segment((0, 0, z0), (x0, 0, z0)))
    face = BRepBuilderAPI_MakeFace(wire.Wire()).Face()
    axis = gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1))
    return BRepPrimAPI_MakeRevol(face, axis, 2 * math.pi, True).Shape()


def curve_point(curve, t):
    from OCP.ElCLib import ElCLib
    return ElCLib.Value_s(t, curve)


def moved(shape, axis=(0, 0, 1), angle=0.0, at=(0, 0, 0)):
    turn, shift = gp_Trsf(), gp_Trsf()
    turn.SetRotation(gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(*axis)), angle)
    shift.SetTranslation(gp_Vec(*at))
    return shape.Moved(TopLoc_Location(shift.Multiplied(turn)))


def compound(*shapes):
    builder, whole = BRep_Builder(), TopoDS_Compound()
    builder.MakeCompound(whole)
    for shape in shapes:
        builder.Add(whole, shape)
    return whole


parabola = gp_Parab(gp_Ax2(gp_Pnt(0, 0, 0), gp_Dir(0, 1, 0), gp_Dir(0, 0, 1)), 4)
hyperbola = gp_Hypr(gp_Ax2(gp_Pnt(0, 0, 0), gp_Dir(0, 1, 0), gp_Dir(1, 0, 0)), 12, 9)
write("g_paraboloid.step", turned(parabola, 0, 12))
write("g_hyperboloid.step", turned(hyperbola, -0.9, 0.7))
# Domes over a closed profile: the kernel itself reads its own files of these as open, so their
# volumes are known by formula instead.
down = gp_Dir(0, -1, 0)
write("g_dome.step", turned(gp_Elips(gp_Ax2(gp_Pnt(0, 0, 0), down, gp_Dir(1, 0, 0)), 20, 8), 0, math.pi / 2))
arc = gp_Circ(gp_Ax2(gp_Pnt(-30, 0, 0), down, gp_Dir(1, 0, 0)), 40)
write("g_ogive.step", turned(arc, 0, math.acos(30 / 40)))
# A cone cut along its axis and along a generator.
cone = BRepPrimAPI_MakeCone(15, 3, 30).Shape()
box = BRepPrimAPI_MakeBox(gp_Pnt(6, -30, -5), gp_Pnt(60, 30, 60)).Shape()
write("g_hyperbola_edge.step", BRepAlgoAPI_Cut(cone, box).Shape())
half = math.atan(12 / 30)
plane = BRepBuilderAPI_MakeFace(gp_Pln(gp_Pnt(5, 0, 0), gp_Dir(math.cos(half), 0, math.sin(half)))).Face()
tool = BRepPrimAPI_MakeHalfSpace(plane, gp_Pnt(100, 0, 100)).Solid()
write("g_parabola_edge.step", BRepAlgoAPI_Cut(cone, tool).Shape())
# An assembly of assemblies in which each part stands several times, and a second root.
bore = BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(8, 10, -1), gp_Dir(0, 0, 1)), 3, 10).Shape()
plate = BRepAlgoAPI_Cut(BRepPrimAPI_MakeBox(gp_Pnt(0, 0, 0), 30, 20, 4).Shape(), bore).Shape()
pin = BRepPrimAPI_MakeCone(4, 2, 15).Shape()
pair = compound(plate, moved(pin, at=(20, 10, 4)))
group = compound(moved(pair, (1, 2, 3), 0.7, (100, -40, 25)), moved(pair, (0, 1, 0), -1.9, (-60, 15, 5)),
                 moved(plate, (1, 0, 0), 2.2, (0, 80, 0)))
write("a_nested.step", compound(group, moved(group, (0, 0, 1), 1.1, (0, 0, 300))),
      moved(pin, (1, 0, 0), 0.5, (500, 0, 0)), schema="AP242DIS")
# The same with its first pin in inch, the rest in mm: its context is given another unit.
with open(f"{FOLDER}/a_nested.step") as file:
    text = file.read()
unit = "( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.) )"
shape = text[text.rindex("ADVANCED_BREP_SHAPE_REPRESENTATION", 0, text.rindex("ADVANCED_BREP_SHAPE_REPRESENTATION")):]
context = shape[shape.index("),#") + 2:shape.index(");")]
at = text.index(unit, text.index(f"\n{context} = "))
inch = ("( CONVERSION_BASED_UNIT('INCH',#9001) LENGTH_UNIT() NAMED_UNIT(#9002) );\n"
        "#9001 = LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),#24);\n"
        "#9002 = DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.)")
with open(f"{FOLDER}/a_mixed.step", "w") as file:
    file.write(text[:at] + inch + text[at + len(unit):])
