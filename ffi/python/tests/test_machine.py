"""The whole way on a machine that is known exactly: features, axes, STEP, part, checks, joins, job."""

import json
import tempfile
import unittest
from pathlib import Path

import fitwright
import numpy as np
from machine import HALF, HOLE, block, moved, plate, turned, volume

SCAN_FROM_MACHINE = turned((0.3, -1.0, 0.5), 1.1, (10, 200, -70))


def ceiling():
    """A square 5 mm over the plate, seen from below."""
    n = 101
    points = np.array([[x, y, 13.0] for x in np.linspace(-50, 50, n) for y in np.linspace(-50, 50, n)])
    first = np.array([i * n + j for i in range(n - 1) for j in range(n - 1)])
    a, b = np.array([0, 1, n]), np.array([1, n + 1, n])
    return points, np.concatenate([first[:, None] + a, first[:, None] + b])


CEILING = ceiling()


def bumpy(height=1.0):
    """A sheet 100 mm wide with bumps at irregular places: points and triangles."""
    n, random = 90, np.random.default_rng(5)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-50, 50, n), np.linspace(-50, 50, n), indexing="ij"))
    z = 0.005 * random.standard_normal(n * n)
    for at_x, at_y, width, high in zip(*random.uniform(-45, 45, (2, 20)), *random.uniform(4, 10, (2, 20))):
        z += height * high * np.exp(-((x - at_x) ** 2 + (y - at_y) ** 2) / width**2)
    first = np.array([i * n + j for i in range(n - 1) for j in range(n - 1)])
    quads = [first[:, None] + np.array(corners) for corners in ((0, n, n + 1), (0, n + 1, 1))]
    return np.stack([x, y, z], axis=1), np.concatenate(quads)


def scanned(place):
    """A place of the machine in scan coordinates."""
    return moved(SCAN_FROM_MACHINE, np.array([place], dtype=float))[0]


def face(scan, name, pick):
    surface = scan.grow(scanned(pick), "plane", trim_mm=-1)
    return surface.trim().fit("plane").feature(name, surface), surface


class Machine(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.context = context = fitwright.Context()
        points, triangles = block()
        cls.scan = context.scan(moved(SCAN_FROM_MACHINE, points), triangles)
        cls.deck, cls.on_deck = face(cls.scan, "deck", (20, 15, 0))
        cls.side, _ = face(cls.scan, "side", (HALF, 3, -15))
        cls.hole, cls.wall = context.find_hole("hole", cls.deck, cls.on_deck, scanned((HOLE, 0, -0.2)))
        cls.datum = context.datum((cls.deck, "+z", ""), (cls.side, "+x", ""), (cls.hole, "", "origin"))
        cls.pose = cls.datum.machine_from_scan

    def scene(self, part, **limits):
        scene = fitwright.Scene(part, datum=self.datum, **limits)
        at = scene.scan(self.scan, "block", self.pose)
        hole = scene.feature(self.hole.move(self.pose), bolt="M8", surface=self.wall, scan=at)
        deck = scene.feature(self.deck.move(self.pose), seat=True, surface=self.on_deck, scan=at)
        scene.mount(hole, (0, 0, 4), seat=deck)
        return scene

    def part(self, **options):
        return self.context.part(*plate(**options), "plate")

    def test_the_machine_s_axes_are_found(self):
        np.testing.assert_allclose(self.pose @ SCAN_FROM_MACHINE, np.eye(4), atol=1e-11)
        self.assertEqual(len(self.datum.taken), 3)
        self.assertEqual({(s.a, s.b) for s in self.datum.squareness}, {("deck", "side"), ("deck", "hole"), ("side", "hole")})
        self.assertEqual(self.datum.covariance().matrix.shape, (8, 8))

    def test_the_hole_is_found(self):
        hole = self.hole.move(self.pose)
        self.assertEqual(hole.describe().kind, "hole")
        self.assertEqual(hole.name, "hole")
        self.assertAlmostEqual(hole.shape.size_1, HOLE, 11)
        np.testing.assert_allclose(hole.shape.point_mm[:2], 0, atol=1e-11)
        self.assertEqual([piece.kind for piece in hole.pieces], ["cylinder", "circle", "line"])
        self.assertGreater(len(self.wall), 3000)
        self.assertGreater(len(hole.notes), 0)

    def test_the_outline_of_the_deck_has_the_hole(self):
        (piece,) = self.deck.move(self.pose).pieces
        outer, inner = piece.loops
        self.assertEqual(piece.extent, "outline")
        # The last ring of points may be counted to the sides: within the spacing of the rings.
        np.testing.assert_allclose(np.abs(outer[:, :2]).max(), HALF, atol=0.7)
        # Within the sagitta of its polygon or a step of the scan.
        self.assertLess(np.abs(np.hypot(inner[:, 0], inner[:, 1]) - HOLE).max(), 1.0)

    def test_constructions(self):
        edge = self.deck.intersect("edge", self.side).move(self.pose)
        self.assertEqual(edge.shape.kind, "line")
        np.testing.assert_allclose(np.abs(edge.shape.direction), (0, 1, 0), atol=1e-11)
        np.testing.assert_allclose(edge.shape.point_mm[[0, 2]], (HALF, 0), atol=1e-11)
        relation = self.deck.relation(self.hole)
        self.assertAlmostEqual(relation.angle_rad, 0, 12)
        other, _ = face(self.scan, "far side", (-HALF, 3, -15))
        middle = self.side.midplane("middle", other).move(self.pose)
        self.assertLess(abs(middle.shape.point_mm @ middle.shape.direction), 1e-11)
        with self.assertRaises(fitwright.Error) as raised:
            middle.quality
        self.assertEqual(raised.exception.code, fitwright.Code.CONSTRUCTION)

    def test_step(self):
        features = [self.deck, self.side, self.hole]
        text = self.context.step_text(features, self.pose, title="Machine", schema="ap214", full=True)
        self.assertTrue(text.startswith("ISO-10303-21;"))
        self.assertIn("AUTOMOTIVE_DESIGN", text)
        for name in ("'deck'", "'side'", "'hole'", "'Machine'"):
            self.assertIn(name, text)
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder, "features.step")
            self.context.step_write(file, features, self.pose, title="Machine", schema="ap214", full=True)
            self.assertEqual(file.read_text(), text)

    def test_meshes(self):
        part = self.context.part(*plate(), "plate")
        bodies = {"scan": self.scan, "plate": part, "deck": self.deck}
        with tempfile.TemporaryDirectory() as folder:
            for name in ("all.ply", "all.stl", "all.obj", "all.glb", "all.3mf"):
                file = Path(folder, name)
                colours, poses = {"plate": (40, 90, 140)}, {"scan": self.pose, "deck": self.pose}
                self.context.write_meshes(file, bodies, colours=colours, poses=poses)
                back = self.context.read_scan(file)
                self.assertGreaterEqual(len(back.triangles), len(self.scan.triangles) + len(part.triangles))
                # Only the scan moves.
                moved = self.scan.points @ self.pose[:3, :3].T + self.pose[:3, 3]
                low = np.minimum(moved.min(axis=0), part.points.min(axis=0))
                np.testing.assert_allclose(back.points.min(axis=0), low, atol=1e-5)
            with self.assertRaises(fitwright.Error) as raised:
                self.context.write_meshes(Path(folder, "all.dxf"), bodies)
            self.assertEqual(raised.exception.code, fitwright.Code.UNKNOWN_FORMAT)
        with self.assertRaises(ValueError):
            self.context.write_meshes("all.ply", bodies, colours={"plait": (1, 2, 3)})

    def test_the_part(self):
        points, triangles = plate(middle=(0.25, -0.5))
        part = self.context.part(points, triangles, "plate")
        info = part.describe()
        self.assertTrue(info.closed)
        self.assertAlmostEqual(info.volume_mm3, volume(points, triangles), 8)
        np.testing.assert_array_equal(info.low_mm, (-16, -16, 0))
        np.testing.assert_array_equal(part.points, points)
        np.testing.assert_array_equal(part.triangles, triangles)
        hole = part.hole_at((0, 0, 4))
        self.assertAlmostEqual(hole.radius_mm, HOLE, 6)
        np.testing.assert_allclose(hole.point_mm, (0.25, -0.5, 4), atol=1e-6)
        self.assertAlmostEqual(hole.depth_mm, 8.0, 6)

    def test_a_part_that_fits(self):
        check = self.scene(self.part(middle=(0.1, 0.0))).check()
        self.assertEqual(check.verdict, "pass")
        np.testing.assert_array_equal(check.part_pose, np.eye(4))
        found = {finding.kind: finding for finding in check}
        # Half of 9 less 8 is the play, less 0.1 of offset.
        self.assertAlmostEqual(found["hole"].value_mm, 0.4, 5)
        self.assertAlmostEqual(found["seat"].value_mm, 0.0, 9)
        # From the plate's side at 16 to the block's edge at 40.
        self.assertAlmostEqual(found["clearance"].value_mm, 24.0, 6)
        self.assertEqual(len(check), len(check[:]))
        self.assertEqual(check[-1].kind, list(check)[-1].kind)
        with self.assertRaises(IndexError):
            check[len(check)]

    def test_parts_that_do_not(self):
        check = self.scene(self.part(middle=(0.8, 0.0))).check()
        self.assertEqual(check.verdict, "fail")
        self.assertEqual((check[0].kind, check[0].verdict), ("hole", "fail"))
        self.assertAlmostEqual(check[0].value_mm, 0.5 - 0.8, 5)
        self.assertTrue(check[0].remedy)
        self.assertEqual(check[0].measure, "length")
        shares = sum(deviation**2 for deviation in check[0].budget.values())
        self.assertAlmostEqual(2 * shares**0.5, check[0].uncertainty_mm, 12)
        lifted = self.scene(self.part(bottom=0.7)).check()
        seat = next(finding for finding in lifted if finding.kind == "seat")
        self.assertEqual(seat.verdict, "fail")
        self.assertAlmostEqual(seat.value_mm, 0.7, 6)

    def test_a_made_part(self):
        part = self.part(middle=(0.25, -0.5))
        # The plate's own points and places between: all of them lie on the model.
        corners = part.points[part.triangles]
        weights = np.random.default_rng(7).dirichlet((1, 1, 1), (len(corners), 60))
        seen = np.vstack([w @ c for w, c in zip(weights, corners)])
        shift = np.eye(4)
        shift[:3, 3] = (3, -2, 1)
        scan = self.context.scan(seen - shift[:3, 3])
        near = shift.copy()
        near[:3, 3] += (0.1, 0.05, -0.1)
        made = self.scene(part).made(scan, tolerance_mm=0.1, start=near)
        np.testing.assert_allclose(made.part_from_scan, shift, atol=1e-5)
        self.assertLess(np.abs(made.deviation_mm).max(), 1e-5)
        kinds = {finding.kind for finding in made.check}
        self.assertTrue({"made part", "hole", "seat"} <= kinds, kinds)
        with self.assertRaises(ValueError):
            self.scene(part).made(scan, laid_on="thin air")

    def test_a_part_that_comes_too_near(self):
        part = self.part()
        for asked, verdict in ((4.9, "pass"), (5.1, "fail")):
            scene = self.scene(part, clearance_mm=asked)
            scene.scan(self.context.scan(*CEILING), "ceiling")
            (air,) = [f for f in scene.check() if f.kind == "clearance" and f.name == "rest of ceiling"]
            self.assertEqual(air.verdict, verdict)
            self.assertAlmostEqual(air.value_mm, 5.0, 9)
            self.assertAlmostEqual(air.limit_mm, asked)
            np.testing.assert_allclose((air.at_mm[2], air.to_mm[2]), (8.0, 13.0), atol=1e-9)

    def test_what_moves_and_what_is_warmed(self):
        scene = self.scene(self.part(), clearance_mm=1.0)
        ceiling = scene.scan(self.context.scan(*CEILING), "ceiling")
        # The ceiling, 5 mm above, comes down by 3 mm, and its uneven tilt about a far axis by nothing.
        down = fitwright.Move.shift(0.0, 3.0, direction=(0, 0, -1))
        still = fitwright.Move.turn(0.0, 0.0, point_mm=(0, 0, 500), direction=(1, 0, 0))
        scene.motion("ceiling comes down", [still, down], scan=ceiling, clearance_mm=1.5)
        scene.motion("part of it", [down], scan=ceiling, sphere=((0, 0, 13), 8))
        steel, aluminium = (self.context.expansion(m) for m in ("steel", "aluminium"))
        # From the bolt, 13 mm below the ceiling at z = 0, and 8 mm of part: 13·11.5e-6·100 up, 8·23e-6·200 up.
        scene.temperature(
            fitwright.Warming(*steel, 20, 120), fitwright.Warming(*aluminium, 20, 220), fixed_mm=(0, 0, 0)
        )
        found = {(f.kind, f.name): f for f in scene.check()}
        moved = found["motion", "ceiling comes down"]
        self.assertAlmostEqual(moved.value_mm, 2.0, 2)
        self.assertEqual((moved.verdict, moved.limit_mm), ("pass", 1.5))
        self.assertAlmostEqual(moved.numbers["movement_2"], 3.0, 2)
        self.assertAlmostEqual(found["motion", "part of it"].value_mm, 2.0, 2)
        warm = found["thermal", "rest of ceiling"]
        self.assertAlmostEqual(warm.value_mm, 5.0 + 13 * 11.5e-4 - 8 * 23e-6 * 200, 6)
        self.assertAlmostEqual(warm.numbers["at_scan_temperature"], 5.0, 9)
        with self.assertRaises(ValueError):
            scene.motion("nothing", [down])
        with self.assertRaises(fitwright.Error):
            self.context.expansion("cheese")

    def test_other_parts(self):
        # Boxes over the plate's top at z = 8, from 10 to 20 where the plate ends at 16: 1 mm over it, 2 mm deep in it,
        # on it, and a door.
        points = np.array([(x, y, z) for z in (0, 5) for y in (10, 20) for x in (10, 20)], dtype=float)
        corners = np.array([
            (0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4), (2, 6, 3), (3, 6, 7), (0, 4, 2),
            (2, 4, 6), (1, 3, 5), (3, 7, 5),
        ], dtype=np.uint32)
        box = lambda z: self.context.part(points + (0, 0, z), corners, "box")
        scene = self.scene(self.part(), clearance_mm=0.5)
        self.assertEqual(scene.other_part(box(9.0), "over", keep_clear_mm=2.0), 0)
        scene.other_part(box(6.0), "in")
        scene.other_part(box(8.0), "on", touches=True)
        door = scene.other_part(box(18.0), "door")
        scene.motion("door", [fitwright.Move.shift(0.0, 7.0, direction=(0, 0, -1))], other_part=door)
        found = {(f.kind, f.name): f for f in scene.check()}
        over, deep, on = (found["clearance", name] for name in ("over", "in", "on"))
        self.assertEqual((over.verdict, over.limit_mm), ("fail", 2.0))
        self.assertAlmostEqual(over.value_mm, 1.0, 9)
        self.assertEqual((deep.verdict, on.verdict), ("fail", "pass"))
        self.assertAlmostEqual(deep.value_mm, -2.0, 9)
        self.assertAlmostEqual(deep.numbers["volume"], 6.0 * 6.0 * 2.0, delta=0.8)
        self.assertAlmostEqual(found["motion", "door"].value_mm, 3.0, 6)
        with self.assertRaises(ValueError):
            scene.motion("two", [], other_part=door, scan=0)

    def test_a_bolt_has_its_own_length(self):
        scene = fitwright.Scene(self.part(), datum=self.datum, tools=fitwright.ToolLimits(bolt_length_mm=30.0))
        at = scene.scan(self.scan, "block", self.pose)
        hole = scene.feature(self.hole.move(self.pose), bolt="M8", surface=self.wall, scan=at)
        deck = scene.feature(self.deck.move(self.pose), seat=True, surface=self.on_deck, scan=at)
        scene.mount(hole, (0, 0, 4), seat=deck, bolt_length_mm=77.0)
        (way,) = [f for f in scene.check() if f.name == "hole, bolt in"]
        self.assertEqual(way.numbers["bolt_length"], 77.0)

    def test_an_error_of_length_widens_the_uncertainty(self):
        found = []
        for error in (fitwright.LengthError(), fitwright.LengthError(0.05, 0.0001)):
            scene = fitwright.Scene(self.part(), datum=self.datum)
            at = scene.scan(self.scan, "block", self.pose, length_error=error)
            hole = scene.feature(self.hole.move(self.pose), bolt="M8", surface=self.wall, scan=at)
            deck = scene.feature(self.deck.move(self.pose), seat=True, surface=self.on_deck, scan=at)
            scene.mount(hole, (0, 0, 4), seat=deck)
            found.append(next(f for f in scene.check() if f.kind == "clearance").uncertainty_mm)
        self.assertLess(found[0], 1e-9)
        self.assertGreater(found[1], 0.001)

    def test_tools_and_the_way_in(self):
        asked = {"tools": fitwright.ToolLimits(every=True), "insertion": fitwright.InsertionLimits(clearance_mm=0.5)}
        check = self.scene(self.part(), **asked).check()
        names = {f.name for f in check if f.kind == "tool access"}
        self.assertEqual(names, {f"hole, {what}" for what in ("socket", "spanner", "bolt in", "head seat")})
        self.assertEqual(next(f for f in check if f.name == "hole, spanner").measure, "angle")
        self.assertEqual([len(check.path(k)) for k, f in enumerate(check) if f.kind == "hole"][0], 0)
        path = next(check.path(k) for k, f in enumerate(check) if f.kind == "insertion")
        np.testing.assert_allclose(path[-1], np.eye(4), atol=1e-12)
        # On top of all of the machine it only has to be lifted by a little more than the air; never into the deck.
        self.assertGreater(path[0][2, 3], 0.5)
        self.assertGreaterEqual(min(pose[2, 3] for pose in path), -1e-9)

    def test_clearance_of_every_corner(self):
        part = self.part()
        scene = self.scene(part)
        scene.scan(self.context.scan(*CEILING), "ceiling")
        out = np.empty(len(part.points))
        self.assertIs(scene.clearance(out), out)
        top = part.points[:, 2] == 8.0
        self.assertEqual(top.sum(), 320)
        np.testing.assert_allclose(out[top], 5.0, atol=1e-9)
        np.testing.assert_array_equal(out, scene.clearance())

    def test_joins(self):
        moved_from_scan = turned((1, 0, 2), 0.02, (0.6, -0.4, 0.3))
        other = self.scan.move(moved_from_scan)
        targets = np.array([[0, 0, 0], [90, 5, 0], [10, 70, 4], [50, 50, 60.0]])
        join = self.context.join_by_targets(targets, moved(moved_from_scan, targets)[::-1])
        np.testing.assert_allclose(join.to_from_this @ moved_from_scan, np.eye(4), atol=1e-12)
        self.assertEqual({(pair.to, pair.from_) for pair in join.pairs}, {(0, 3), (1, 2), (2, 1), (3, 0)})
        back = self.hole.move(moved_from_scan).join(join)
        np.testing.assert_allclose(back.shape.point_mm, self.hole.shape.point_mm, atol=1e-11)
        by_surface = self.context.join_by_surface(self.scan, other)
        np.testing.assert_allclose(by_surface.to_from_this @ moved_from_scan, np.eye(4), atol=1e-4)
        self.assertTrue(by_surface.describe().converged)
        self.assertGreater(by_surface.describe().overlap, 0.9)

    def test_a_join_by_features(self):
        from_to = turned((2, 1, -1), 2.8, (-40, 25, 310))
        shelf, _ = face(self.scan, "shelf", (HALF, 3, -15))
        same = [(f, f.move(from_to), True) for f in (self.deck, self.side, self.hole)]
        join = self.context.join_by_features(*same)
        np.testing.assert_allclose(join.to_from_this @ from_to, np.eye(4), atol=1e-8)
        self.assertEqual([f.name for f in join.features], ["deck", "side", "hole"])
        self.assertTrue(all(f.used and f.distance_mm < 1e-8 for f in join.features))
        # 3, 3 and 4 or 5 numbers, 6 of the pose.
        self.assertEqual(join.describe().freedom_count, sum(f.equation_count for f in join.features) - 6)
        with self.assertRaisesRegex(fitwright.Error, "free"):
            self.context.join_by_features(same[0], (shelf, shelf.move(from_to), True))

    def test_a_join_from_an_unknown_start(self):
        points, triangles = bumpy()
        to_from_this = turned((1, -2, 2), 2.5, (300, -200, 50))
        low, high = points[:, 0] < 30, points[:, 0] > -30
        # Two scans that have 60 of 80 mm in common.
        halves = []
        for seen in (low, high):
            kept = triangles[seen[triangles].all(axis=1)]
            halves.append((points[seen], (np.cumsum(seen) - 1)[kept]))
        to = self.context.scan(*halves[0])
        from_ = self.context.scan(moved(np.linalg.inv(to_from_this), halves[1][0]), halves[1][1])
        join = self.context.join_from_unknown_start(to, from_, candidates=3)
        np.testing.assert_allclose(moved(join.to_from_this @ np.linalg.inv(to_from_this), points), points, atol=0.05)
        self.assertTrue(1 <= len(join.candidates) <= 3)
        best = join.candidates[0]
        np.testing.assert_allclose(best.to_from_this, to_from_this, atol=5)
        self.assertGreater(best.matched, 5 * best.against)
        self.assertLessEqual(sum(c.probability for c in join.candidates), 1 + 1e-9)
        flat, _ = bumpy(0.0)
        with self.assertRaisesRegex(fitwright.Error, "no pose is certain"):
            self.context.join_from_unknown_start(to, self.context.scan(flat, triangles))

    def test_a_later_day(self):
        names = ("deck", "side", "end", "shelf", "rib", "lug", "foot", "cap")
        axes, at = (2, 0, 1, 2, 1, 1, 0, 1), (0, 40, 30, -55, -35, -20, -45, 47)
        normals = [np.eye(3)[axis] for axis in axes]
        matrix = np.diag([1e-6] * 3 + [1e-9] * 3 + [0.0] * 2)[np.triu_indices(8)]
        features = [
            {
                "name": name, "kind": "plane", "point": list(normal * where), "direction": list(normal),
                "middle": list(normal * where), "extent": 27,
                "covariance": {"at": list(normal * where), "matrix": list(matrix)},
            }
            for name, normal, where in zip(names, normals, at)
        ]
        text = json.dumps({
            "fitwright_datum": 1, "length": "mm", "angle": "rad", "job": "first day",
            "machine_from_scan": np.eye(4).tolist(), "datums": [{"feature": "deck", "axis": "+z"}], "features": features,
        })
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder, "datum.json")
            path.write_text(text, encoding="utf-8")
            saved = self.context.read_saved_datum(path)
        self.assertEqual(self.context.saved_datum(text).describe().feature_count, 8)
        self.assertEqual(([f.name for f in saved.features], saved.features[0].kind), (list(names), "plane"))
        side = np.arange(33)
        corner = (33 * side[:-1, None] + side[None, :-1]).ravel()
        square = np.vstack([np.c_[corner, corner + 33, corner + 34], np.c_[corner, corner + 34, corner + 1]])
        u, v = (1.2 * (g.ravel() - 16) for g in np.meshgrid(side, side, indexing="ij"))
        rng = np.random.default_rng(3)
        points, triangles = [], []
        for axis, where in zip(axes, at):
            face = np.empty((len(u), 3))
            face[:, axis] = where + rng.normal(0, 0.005, len(u))
            face[:, (axis + 1) % 3], face[:, (axis + 2) % 3] = u, v
            triangles.append(square + sum(map(len, points)))
            points.append(face)
        points, triangles = np.vstack(points), np.vstack(triangles).astype(np.uint32)
        there = turned((1, 1, 1), 2.0, (300, -200, 50))
        scan = self.context.scan(points @ there[:3, :3].T + there[:3, 3], triangles)
        found = saved.find((scan, np.eye(4), None))
        self.assertEqual(found.matched_count, 8)
        np.testing.assert_allclose(found.machine_from_scan @ there, np.eye(4), atol=0.01)
        with self.assertRaises(fitwright.Error):
            saved.find((scan, np.eye(4), None), start=np.eye(4), reach_mm=1.0)
        here = self.context.scan(points, triangles)
        today = []
        for name, axis, where in zip(names, axes, at):
            near = here.grow(np.eye(3)[axis] * where, "plane")
            today.append(near.fit("builtin.plane").feature(name, near))
        shift = np.eye(4)
        shift[1, 3] = 0.5
        today[5] = today[5].move(shift)
        changes = saved.changes(*today[:4], None, *today[5:])
        self.assertEqual(changes.stand_out, ["lug"])
        self.assertEqual([c.moved for c in changes.features], ["no"] * 4 + ["not-seen", "yes", "no", "no"])
        np.testing.assert_allclose(changes.features[5].shift_mm, (0, 0.5, 0), atol=0.01)
        self.assertLess(changes.describe().probability, 1e-6)
        self.assertEqual(len(changes.notes), changes.describe().note_count)
        self.assertGreater(changes.covariance().matrix[0, 0], 0.0)

    def test_scans_adjusted_together(self):
        points, triangles = bumpy()
        scans, starts = [], []
        for k, (low, high) in enumerate(((-50, 5), (-25, 30), (-5, 50))):
            seen = (points[:, 0] > low - 1) & (points[:, 0] < high + 1)
            kept = triangles[seen[triangles].all(axis=1)]
            scans.append(self.context.scan(points[seen], (np.cumsum(seen) - 1)[kept]))
            starts.append(turned((1, 2, 1), 0.004 * k, (0.3 * k, -0.2 * k, 0.2 * k)))
        adjusted = self.context.adjust(*zip(scans, starts))
        self.assertTrue(adjusted.describe().converged)
        for pose in adjusted.common_from_scan:
            np.testing.assert_allclose(pose, np.eye(4), atol=0.02)
        self.assertEqual(adjusted.covariance(0).matrix[0, 0], 0.0)
        self.assertGreater(adjusted.covariance(2).matrix[0, 0], 0.0)
        self.assertTrue(all(p.rms_mm < p.rms_before_mm and {p.to, p.from_} <= {0, 1, 2} for p in adjusted.pairs))
        two = self.context.adjust(*zip(scans, starts), held=1, pairs=[(0, 1), (1, 2)])
        self.assertEqual({(p.to, p.from_) for p in two.pairs} | {(p.from_, p.to) for p in two.pairs}, {(0, 1), (1, 2), (1, 0), (2, 1)})
        np.testing.assert_allclose(two.common_from_scan[1], starts[1], atol=1e-12)
        with self.assertRaises(fitwright.Error):
            self.context.adjust((scans[0], np.eye(4)), (scans[2], turned((1, 0, 0), 0.0, (900, 0, 0))))

    def test_joined_scans_as_one(self):
        points, triangles = bumpy()
        raised = turned((0, 0, 1), 0.0, (0, 0, 0.2))
        halves = []
        for seen in (points[:, 0] < 20, points[:, 0] > -20):
            kept = triangles[seen[triangles].all(axis=1)]
            halves.append(self.context.scan(points[seen], (np.cumsum(seen) - 1)[kept]))
        merged = self.context.merge((halves[0], np.eye(4), None), (halves[1], raised, None))
        info = merged.describe()
        self.assertEqual((len(merged.point_scans), len(merged.triangle_scans)), (info.point_count, info.triangle_count))
        self.assertEqual(set(merged.point_scans), {0, 1})
        # Each place once, but for a row where they meet.
        self.assertLess(abs(info.triangle_count / len(triangles) - 1), 0.06)
        np.testing.assert_allclose(merged.kept.sum(), 100 / 70, atol=0.06)
        (seam,) = merged.seams
        self.assertTrue(seam.exceeds and (seam.a, seam.b) == (0, 1))
        self.assertLess(abs(abs(seam.mean_mm) - 0.2), 0.05)
        self.assertEqual(len(merged.scan().points), info.point_count)

    def test_a_job(self):
        deck, side, hole = (scanned(p).tolist() for p in ((20, 15, 0.1), (HALF + 0.1, 3, -15), (HOLE, 0, -0.2)))
        with tempfile.TemporaryDirectory() as folder:
            write_obj(Path(folder, "block.obj"), self.scan.points, self.scan.triangles)
            write_obj(Path(folder, "plate.obj"), *plate(middle=(0.1, 0.0)))
            job = self.context.job(JOB.format(deck=deck, side=side, hole=hole), folder)
            outcome = job.run()
            result = outcome.result
            self.assertEqual(result["verdict"], "pass")
            self.assertEqual(outcome.describe().verdict, "pass")
            np.testing.assert_allclose(np.array(result["machine_from_scan"]) @ SCAN_FROM_MACHINE, np.eye(4), atol=1e-8)
            np.testing.assert_allclose(outcome.describe().machine_from_scan, result["machine_from_scan"])
            self.assertEqual([feature.name for feature in outcome.features], ["deck", "side", "hole"])
            self.assertEqual(len(outcome.check), len(result["checks"]))
            outcome.write(Path(folder, "out"))
            self.assertEqual(json.loads(Path(folder, "out", "result.json").read_text()), result)
            self.assertTrue(Path(folder, "out", "report.html").exists())
        self.assertIn("properties", self.context.job_schema())


def write_obj(file, points, triangles):
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in points.tolist()]
    lines += [f"f {a} {b} {c}" for a, b, c in (np.asarray(triangles, dtype=np.int64) + 1).tolist()]
    file.write_text("\n".join(lines) + "\n")


JOB = """
[job]
name = "Plate"
length = "mm"
angle = "deg"
[[scan]]
name = "block"
file = "block.obj"
[[feature]]
name = "deck"
fit = "plane"
at = {deck}
[[feature]]
name = "side"
fit = "plane"
at = {side}
[[feature]]
name = "hole"
fit = "hole"
on = "deck"
at = {hole}
bolt = "M8"
[datum]
primary = {{ feature = "deck", axis = "+z" }}
secondary = {{ feature = "side", axis = "+x" }}
tertiary = {{ feature = "hole", sets = "origin" }}
[part]
file = "plate.obj"
mount = [ {{ hole = "hole", near = [0.0, 0.0, 4.0] }} ]
[check]
clearance = 3.0
"""


if __name__ == "__main__":
    unittest.main()
