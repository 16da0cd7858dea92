"""Writes f_*.step: prisms whose edges and faces take the rarer forms of ISO 10303-42.

    python forms.py FOLDER

No kernel writes these forms; it reads most of them, and kernel.json holds what it found. The shape
of each is plain, so its volume is known without any program.
"""

import math
import sys


class File:
    def __init__(self, unit="( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.) )", length=1.0,
                 degrees=False):
        self.lines, self.length, self.degrees = [], length, degrees
        self.unit = self.add(unit)
        angle = "( NAMED_UNIT(*) PLANE_ANGLE_UNIT() SI_UNIT($,.RADIAN.) )"
        self.angle = self.add(angle)
        if degrees:
            measure = self.add(f"PLANE_ANGLE_MEASURE_WITH_UNIT(PLANE_ANGLE_MEASURE({math.pi / 180!r}),{self.angle})")
            exponents = self.add("DIMENSIONAL_EXPONENTS(0.,0.,0.,0.,0.,0.,0.)")
            self.angle = self.add(
                f"( CONVERSION_BASED_UNIT('DEGREE',{measure}) NAMED_UNIT({exponents}) PLANE_ANGLE_UNIT() )")

    def add(self, text):
        self.lines.append(text)
        return f"#{len(self.lines)}"

    def point(self, x, y, z):
        return self.add("CARTESIAN_POINT('',(%r,%r,%r))" % tuple(c / self.length for c in (x, y, z)))

    def direction(self, x, y, z):
        return self.add(f"DIRECTION('',({float(x)},{float(y)},{float(z)}))")

    def placement(self, at, axis=(0, 0, 1), towards=(1, 0, 0)):
        return self.add(f"AXIS2_PLACEMENT_3D('',{self.point(*at)},{self.direction(*axis)},{self.direction(*towards)})")

    def line(self, a, b, magnitude=1.0):
        d = [y - x for x, y in zip(a, b)]
        n = math.hypot(*d)
        vector = self.add(f"VECTOR('',{self.direction(*(c / n for c in d))},{magnitude!r})")
        return self.add(f"LINE('',{self.point(*a)},{vector})")

    def circle(self, centre, radius, axis=(0, 0, 1), towards=(1, 0, 0)):
        return self.add(f"CIRCLE('',{self.placement(centre, axis, towards)},{radius / self.length!r})")

    def refs(self, points):
        return "(" + ",".join(self.point(*p) for p in points) + ")"

    def write(self, path, faces, schema="AUTOMOTIVE_DESIGN"):
        shell = self.add("CLOSED_SHELL('',(" + ",".join(faces) + "))")
        solid = self.add(f"MANIFOLD_SOLID_BREP('',{shell})")
        solid_angle = self.add("( NAMED_UNIT(*) SI_UNIT($,.STERADIAN.) SOLID_ANGLE_UNIT() )")
        context = self.add(
            "( GEOMETRIC_REPRESENTATION_CONTEXT(3) GLOBAL_UNIT_ASSIGNED_CONTEXT(("
            f"{self.unit},{self.angle},{solid_angle})) REPRESENTATION_CONTEXT('','') )")
        origin = self.placement((0, 0, 0))
        shape = self.add(f"ADVANCED_BREP_SHAPE_REPRESENTATION('',({origin},{solid}),{context})")
        application = self.add("APPLICATION_CONTEXT('core data')")
        a = self.add(f"PRODUCT_CONTEXT('',{application},'mechanical')")
        b = self.add(f"PRODUCT('form','form','',({a}))")
        c = self.add(f"PRODUCT_DEFINITION_FORMATION('','',{b})")
        d = self.add(f"PRODUCT_DEFINITION_CONTEXT('part definition',{application},'design')")
        e = self.add(f"PRODUCT_DEFINITION('design','',{c},{d})")
        f = self.add(f"PRODUCT_DEFINITION_SHAPE('','',{e})")
        self.add(f"SHAPE_DEFINITION_REPRESENTATION({f},{shape})")
        with open(path, "w") as out:
            out.write("ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\n"
                      "FILE_NAME('','2026-01-01T00:00:00',(''),(''),'','','');\n"
                      f"FILE_SCHEMA(('{schema}'));\nENDSEC;\nDATA;\n")
            for i, text in enumerate(self.lines, 1):
                out.write(f"#{i}={text};\n")
            out.write("ENDSEC;\nEND-ISO-10303-21;\n")


def prism(f, corners, curves, surfaces, height, top):
    """Faces of a prism: `curves[i](z)` leads from corner i to the next, `surfaces[i]()` holds it."""
    n = len(corners)
    vertices = [[f.add(f"VERTEX_POINT('',{f.point(*p, z)})") for p in corners] for z in (0.0, height)]
    level = [[f.add(f"EDGE_CURVE('',{vertices[k][i]},{vertices[k][(i + 1) % n]},{curves[i](z)},.T.)")
              for i in range(n)] for k, z in enumerate((0.0, height))]
    upright = []
    for i, p in enumerate(corners):
        line = f.line((*p, 0.0), (*p, 1.0), 2.5)
        if i == 0:
            # The parameter counts in lengths of the line's vector.
            ends = f"(PARAMETER_VALUE(0.)),(PARAMETER_VALUE({height / 2.5!r}))"
            line = f.add(f"TRIMMED_CURVE('',{line},{ends},.T.,.PARAMETER.)")
        upright.append(f.add(f"EDGE_CURVE('',{vertices[0][i]},{vertices[1][i]},{line},.T.)"))

    def face(uses, surface, sense=".T."):
        oriented = [f.add(f"ORIENTED_EDGE('',*,*,{e},{way})") for e, way in uses]
        loop = f.add(f"EDGE_LOOP('',({','.join(oriented)}))")
        bound = f.add(f"FACE_OUTER_BOUND('',{loop},.T.)")
        return f.add(f"ADVANCED_FACE('',({bound}),{surface},{sense})")

    faces = []
    for i in range(n):
        uses = [(level[0][i], ".T."), (upright[(i + 1) % n], ".T."), (level[1][i], ".F."), (upright[i], ".F.")]
        faces.append(face(uses, surfaces[i]()))
    bottom = f.add(f"PLANE('',{f.placement((0, 0, 0))})")
    faces.append(face([(e, ".F.") for e in reversed(level[0])], bottom, ".F."))
    faces.append(face([(e, ".T.") for e in level[1]], top()))
    return faces


def forms(path, with_knots, **units):
    """A rectangle of 40 x 30 with two corners rounded by 10, each edge and side in a form of its own.

    `with_knots`: the rational arc in the form that the kernel reads too.
    """
    f, h = File(**units), 12.0
    corners = [(0, 0), (40, 0), (40, 20), (30, 30), (10, 30), (0, 20)]
    w = math.sqrt(0.5)

    def swept(curve):
        vector = f.add(f"VECTOR('',{f.direction(0, 0, 1)},1.)")
        return f.add(f"SURFACE_OF_LINEAR_EXTRUSION('',{curve},{vector})")

    def arc(z):
        points = f.refs([(40, 20, z), (40, 30, z), (30, 30, z)])
        if with_knots:
            return f.add("( BOUNDED_CURVE() B_SPLINE_CURVE(2," + points + ",.CIRCULAR_ARC.,.F.,.F.) "
                         "B_SPLINE_CURVE_WITH_KNOTS((3,3),(0.,1.),.PIECEWISE_BEZIER_KNOTS.) CURVE() "
                         "GEOMETRIC_REPRESENTATION_ITEM() "
                         f"RATIONAL_B_SPLINE_CURVE((1.,{w!r},1.)) REPRESENTATION_ITEM('') )")
        return f.add("( BEZIER_CURVE() BOUNDED_CURVE() B_SPLINE_CURVE(2," + points +
                     ",.CIRCULAR_ARC.,.F.,.F.) CURVE() GEOMETRIC_REPRESENTATION_ITEM() "
                     f"RATIONAL_B_SPLINE_CURVE((1.,{w!r},1.)) REPRESENTATION_ITEM('') )")

    def crossing(z):
        circle = f.circle((10, 20, z), 10.0)
        on = [f.add(f"PLANE('',{f.placement((0, 0, z))})"), cylinder(10.0)]
        return f.add(f"INTERSECTION_CURVE('',{circle},({','.join(on)}),.CURVE_3D.)")

    def cylinder(radius):
        return f.add(f"CYLINDRICAL_SURFACE('',{f.placement((10, 20, 0))},{radius / f.length!r})")

    def grid(kind, degrees, rows):
        text = "(" + ",".join(f.refs(row) for row in rows) + ")"
        return f.add(f"{kind}('',{degrees[0]},{degrees[1]},{text},.UNSPECIFIED.,.F.,.F.,.F.)")

    def wall():
        plane = f.add(f"PLANE('',{f.placement((30, 30, 0), (0, 1, 0), (-1, 0, 0))})")
        u, v = 20.0 / f.length, h / f.length
        return f.add(f"RECTANGULAR_TRIMMED_SURFACE('',{plane},0.,{u!r},0.,{v!r},.T.,.T.)")

    def spline(kind, degree, points):
        return f.add(f"{kind}('',{degree},{f.refs(points)},.UNSPECIFIED.,.F.,.F.)")

    curves = [
        lambda z: f.add(f"POLYLINE('',{f.refs([(0, 0, z), (15, 0, z), (40, 0, z)])})"),
        lambda z: spline("BEZIER_CURVE", 2, [(40, 0, z), (40, 8, z), (40, 20, z)]),
        arc,
        lambda z: spline("QUASI_UNIFORM_CURVE", 3, [(x, 30, z) for x in (30, 26, 20, 13, 10)]),
        crossing,
        lambda z: spline("UNIFORM_CURVE", 2, [(0, y, z) for y in (25, 15, 5, -5)]),
    ]
    surfaces = [
        lambda: grid("QUASI_UNIFORM_SURFACE", (1, 1), [[(x, 0, 0), (x, 0, h)] for x in (0, 15, 40)]),
        lambda: grid("BEZIER_SURFACE", (2, 1), [[(40, y, 0), (40, y, h)] for y in (0, 8, 20)]),
        lambda: swept(arc(0.0)),
        wall,
        lambda: f.add(f"OFFSET_SURFACE('',{cylinder(7.0)},{3.0 / f.length!r},.F.)"),
        lambda: grid("UNIFORM_SURFACE", (2, 1), [[(0, y, 0), (0, y, h)] for y in (25, 15, 5, -5)]),
    ]

    def top():
        plane = f.add(f"PLANE('',{f.placement((0, 0, 5))})")
        return f.add(f"OFFSET_SURFACE('',{plane},{(h - 5) / f.length!r},.F.)")

    f.write(path, prism(f, corners, curves, surfaces, h, top))


def composite(path):
    """A slot-shaped plate, 60 x 20 x 8 with round ends: each half of its outline is one composite curve."""
    f, h = File(degrees=True), 8.0
    corners = [(20, -10), (-20, 10)]

    def half(turn):
        def curve(z):
            s = -1.0 if turn else 1.0
            circle = f.circle((20 * s, 0, z), 10.0)
            # Half a turn, once by parameters in degrees and once by points against its own sense.
            if turn:
                ends = f"(PARAMETER_VALUE(270.)),(PARAMETER_VALUE(90.)),.F.,.PARAMETER."
                arc, way = f.add(f"TRIMMED_CURVE('',{circle},{ends})"), ".F."
            else:
                a, b = f.point(20, -10, z), f.point(20, 10, z)
                arc, way = f.add(f"TRIMMED_CURVE('',{circle},({a}),({b}),.T.,.CARTESIAN.)"), ".T."
            straight = f.add(f"POLYLINE('',{f.refs([(20 * s, 10 * s, z), (3 * s, 10 * s, z), (-20 * s, 10 * s, z)])})")
            inner = f.add(f"COMPOSITE_CURVE_SEGMENT(.DISCONTINUOUS.,.T.,{straight})")
            nested = f.add(f"COMPOSITE_CURVE('',({inner}),.F.)")
            parts = [f.add(f"COMPOSITE_CURVE_SEGMENT(.CONTINUOUS.,{way},{arc})"),
                     f.add(f"COMPOSITE_CURVE_SEGMENT(.DISCONTINUOUS.,.T.,{nested})")]
            return f.add(f"COMPOSITE_CURVE('',({','.join(parts)}),.F.)")
        return curve

    def swept(curve):
        vector = f.add(f"VECTOR('',{f.direction(0, 0, 1)},1.)")
        return f.add(f"SURFACE_OF_LINEAR_EXTRUSION('',{curve},{vector})")

    curves = [half(False), half(True)]
    surfaces = [lambda: swept(half(False)(0.0)), lambda: swept(half(True)(0.0))]
    f.write(path, prism(f, corners, curves, surfaces, h, lambda: f.add(f"PLANE('',{f.placement((0, 0, h))})")))


def domed(path):
    """A block of 40 x 40 under a bulge 3 mm off a spline surface: the offset of z = 6 - (x^2 + y^2) / 100."""
    f = File()
    d, g = 3.0, 20.0

    def height(x, y):
        return 6.0 - (x * x + y * y) / 100.0

    # The quadratic as a Bezier surface: its control values by polar form.
    def control(a, b, c, e):
        return 6.0 - (a * b + c * e) / 100.0
    ends = [(-g, -g), (-g, g), (g, g)]
    rows = [[((a + b) / 2, (c + e) / 2, control(a, b, c, e)) for c, e in ends] for a, b in ends]
    text = "(" + ",".join(f.refs(row) for row in rows) + ")"
    bulge = f.add(f"BEZIER_SURFACE('',2,2,{text},.UNSPECIFIED.,.F.,.F.,.F.)")
    lid = f.add(f"OFFSET_SURFACE('',{bulge},{d},.F.)")

    def lifted(x, y):
        n = (x / 50.0, y / 50.0, 1.0)
        m = math.hypot(*n)
        return (x + d * n[0] / m, y + d * n[1] / m, height(x, y) + d * n[2] / m)

    # The rim is the offset of the surface's own rim: curves x = g, which leave the upright plane a
    # little, so the sides are ruled between that rim and a straight one below.
    around = [(-g, -g), (g, -g), (g, g), (-g, g)]
    base = [(x, y, -10.0) for x, y in around]
    vertices = [[f.add(f"VERTEX_POINT('',{f.point(*p)})") for p in level]
                for level in (base, [lifted(x, y) for x, y in around])]
    faces, rims, feet, posts = [], [], [], []
    for i in range(4):
        (x0, y0), (x1, y1) = around[i], around[(i + 1) % 4]
        n = 40
        exact = [lifted(x0 + (x1 - x0) * k / n, y0 + (y1 - y0) * k / n) for k in range(n + 1)]
        rims.append((exact, f.add(f"EDGE_CURVE('',{vertices[1][i]},{vertices[1][(i + 1) % 4]},"
                                  f"{f.add('POLYLINE(' + chr(39) * 2 + ',' + f.refs(exact) + ')')},.T.)")))
        a, b = base[i], base[(i + 1) % 4]
        feet.append(f.add(f"EDGE_CURVE('',{vertices[0][i]},{vertices[0][(i + 1) % 4]},{f.line(a, b)},.T.)"))
        posts.append(f.add(f"EDGE_CURVE('',{vertices[0][i]},{vertices[1][i]},{f.line(base[i], exact[0])},.T.)"))

    def face(uses, surface, sense=".T."):
        oriented = [f.add(f"ORIENTED_EDGE('',*,*,{e},{way})") for e, way in uses]
        loop = f.add(f"EDGE_LOOP('',({','.join(oriented)}))")
        return f.add(f"ADVANCED_FACE('',({f.add(f'FACE_OUTER_BOUND({chr(39) * 2},{loop},.T.)')}),{surface},{sense})")

    for i in range(4):
        exact, rim = rims[i]
        a, b = base[i], base[(i + 1) % 4]
        n = len(exact) - 1
        low = [tuple(p + (q - p) * k / n for p, q in zip(a, b)) for k in range(n + 1)]
        text = "(" + ",".join(f.refs([p, q]) for p, q in zip(low, exact)) + ")"
        side = f.add(f"QUASI_UNIFORM_SURFACE('',1,1,{text},.UNSPECIFIED.,.F.,.F.,.F.)")
        faces.append(face([(feet[i], ".T."), (posts[(i + 1) % 4], ".T."), (rim, ".F."), (posts[i], ".F.")], side))
    floor = f.add(f"PLANE('',{f.placement((0, 0, -10))})")
    faces.append(face([(e, ".F.") for e in reversed(feet)], floor, ".F."))
    faces.append(face([(rim, ".T.") for _, rim in rims], lid))
    f.write(path, faces)


if __name__ == "__main__":
    folder = sys.argv[1]
    forms(folder + "/f_forms.step", True)
    forms(folder + "/f_forms_metre.step", False, unit="( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT($,.METRE.) )",
          length=1000.0, degrees=True)
    composite(folder + "/f_composite.step")
    domed(folder + "/f_offset.step")
