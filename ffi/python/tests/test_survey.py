"""The survey of a machine that is known exactly."""

import unittest

import fitwright
import numpy as np
from machine import HALF, HOLE, block, moved, turned

SCAN_FROM_MACHINE = turned((0.3, -1.0, 0.5), 1.1, (10, 200, -70))


class Surveys(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.context = fitwright.Context()
        points, triangles = block(320)
        points = points + np.random.default_rng(3).normal(0, 0.005, points.shape)
        cls.scan = cls.context.scan(moved(SCAN_FROM_MACHINE, points), triangles)
        cls.survey = cls.scan.survey()

    def place(self, *xyz):
        return moved(SCAN_FROM_MACHINE, np.array([xyz], dtype=float))[0]

    def test_primitives(self):
        found = self.survey.primitives
        self.assertEqual([p.kind for p in found], 5 * ["plane"] + ["cylinder"])
        self.assertEqual(found[5].id, "cylinder 1")
        self.assertEqual([p.side for p in found], 5 * ["flat"] + ["inner"])
        self.assertAlmostEqual(found[5].size_1, HOLE, delta=0.003)
        self.assertTrue(0 < found[5].size_1_uncertainty < 0.003)
        # Deck and sides as they stand in the machine.
        machine_from_scan = np.linalg.inv(SCAN_FROM_MACHINE)
        normals = np.array([machine_from_scan[:3, :3] @ p.direction for p in found[:5]])
        true = np.array([[0, 0, 1], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]])
        agree = normals @ true.T > 1 - 1e-6
        self.assertTrue((agree.sum(0) == 1).all() and (agree.sum(1) == 1).all(), normals)
        for p, which in zip(found[:5], agree.argmax(1)):
            for point in (p.at_mm, p.point_mm):
                height = moved(machine_from_scan, np.array([point]))[0] @ true[which]
                self.assertAlmostEqual(height, 0 if which == 0 else HALF, delta=0.01)

    def test_points_and_neighbours(self):
        info = self.survey.describe()
        ids = [self.survey.ids(k) for k in range(info.primitive_count)]
        together = np.concatenate(ids)
        self.assertEqual(len(np.unique(together)), len(together))
        self.assertEqual(len(together) + info.unclaimed_count, len(self.scan.points))
        self.assertEqual(self.survey.region(5).ids.tolist(), ids[5].tolist())
        deck = self.deck()
        self.assertEqual(len(self.survey.neighbours(deck)), 5)
        self.assertEqual(self.survey.neighbours(5), [deck])
        feature = self.survey.feature(5)
        self.assertEqual(feature.name, "cylinder 1")
        self.assertEqual(feature.shape.size_1, self.survey.primitives[5].size_1)
        again = self.survey.region(5).trim().fit("cylinder")
        self.assertAlmostEqual(again.shape.size_1, HOLE, delta=0.003)

    def deck(self):
        found = self.survey.nearest(self.place(20, 0, 0.1), "plane")
        self.assertLess(found[1], 1.5)
        return found[0]

    def test_what_they_make(self):
        deck = self.deck()
        walled = [hole for hole in self.survey.holes if hole.wall is not None]
        self.assertEqual([(h.wall, h.face, h.other_end, h.through) for h in walled], [(5, deck, None, False)])
        self.assertAlmostEqual(walled[0].radius_mm, HOLE, delta=0.003)
        np.testing.assert_allclose(walled[0].point_mm, self.place(0, 0, 0), atol=0.01)
        self.assertEqual(self.survey.tubes, [])
        kinds = {group.kind for group in self.survey.groups}
        self.assertLessEqual(kinds, {"coaxial", "parallel", "perpendicular", "same-radius"})
        self.assertIn("parallel", kinds)
        datum = self.survey.datum
        self.assertEqual(datum.primary, deck)
        self.assertEqual(len({datum.primary, datum.secondary, datum.tertiary}), 3)
        self.assertIsNone(datum.hole)

    def test_by_place(self):
        number, distance = self.survey.nearest(self.place(0, 0, -5), "cylinder", diameter_mm=9.2)
        self.assertEqual(number, 5)
        self.assertAlmostEqual(distance, HOLE, delta=0.1)
        self.assertIsNone(self.survey.nearest((0, 0, 0), "torus"))
        self.assertIsNone(self.survey.nearest((0, 0, 0), diameter_mm=500.0))
        with self.assertRaises(ValueError):
            self.survey.nearest((0, 0, 0), "egg")

    def test_texts(self):
        found = self.survey.json("front.ply")
        self.assertEqual(found["scan"]["file"], "front.ply")
        self.assertEqual([f["id"] for f in found["features"]], [p.id for p in self.survey.primitives])
        starter = self.survey.starter_job("front.ply", "inch")
        self.assertIn('unit = "in"', starter)
        # It is a job as it stands.
        self.context.job(starter)

    def test_errors(self):
        for smallest in (-1.0, float("nan")):
            with self.assertRaises(fitwright.Error) as caught:
                self.scan.survey(smallest_mm=smallest)
            self.assertEqual(caught.exception.code, fitwright.Code.ARGUMENT)
        self.assertEqual({p.kind for p in self.scan.survey(smallest_mm=12.0).primitives}, {"plane"})
        with self.assertRaises(fitwright.Error):
            self.survey.ids(6)
        context = fitwright.Context(progress=lambda step, fraction: False)
        with self.assertRaises(fitwright.Cancelled):
            context.scan(self.scan.points, self.scan.triangles).survey()


if __name__ == "__main__":
    unittest.main()
