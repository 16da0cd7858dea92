"""Fits and shapes against what the points were made of."""

import unittest

import fitwright
import numpy as np
from machine import cylinder, moved, turned

POSE = turned((1, 2, 3), 0.7, (100, -50, 30))
AXIS = POSE[:3, :3] @ (0, 0, 1)


def off_axis(point):
    """Distance of a point from the true axis."""
    return np.linalg.norm(np.cross(point - POSE[:3, 3], AXIS))


class Fits(unittest.TestCase):
    def setUp(self):
        self.context = fitwright.Context(threads=1)

    def test_exact_points_give_the_exact_cylinder(self):
        fit = self.context.fit("cylinder", moved(POSE, cylinder()))
        shape = fit.shape
        self.assertEqual(shape.kind, "cylinder")
        self.assertLess(abs(shape.size_1 - 12.0), 1e-12)
        self.assertLess(off_axis(shape.point_mm), 1e-11)
        self.assertLess(np.abs(np.cross(shape.direction, AXIS)).max(), 1e-13)
        quality = fit.quality
        self.assertTrue(quality.converged)
        self.assertEqual((quality.points, quality.rejected), (3600, 0))
        self.assertAlmostEqual(quality.arc_rad, 2 * np.pi)
        self.assertEqual(fit.parameters["radius"].quantity, "length")
        self.assertEqual(fit.parameters["radius"].value[0], shape.size_1)
        np.testing.assert_array_equal(fit.parameters["axis"].value, shape.direction)
        self.assertEqual(fit.covariance().matrix.shape, (8, 8))
        self.assertEqual(fit.constraint_cost.freedoms, 0)

    def test_the_uncertainty_holds_the_truth_about_as_often_as_it_says(self):
        # Coverage factor 2: 95 % for a normal deviate. 60 draws: under 50 hits has a chance below 0.2 %.
        random = np.random.default_rng(5)
        hits = 0
        for _ in range(60):
            noisy = cylinder(turns=40, rows=20) + random.normal(0, 0.03, (800, 3))
            fit = self.context.fit("cylinder", noisy)
            hits += abs(fit.shape.size_1 - 12.0) <= fit.uncertainty().size_1
        self.assertGreaterEqual(hits, 50)
        self.assertLess(fit.uncertainty().size_1, 0.01)

    def test_what_is_held_is_obeyed(self):
        # Ten degrees of arc alone would leave the radius open.
        arc = cylinder(arc=np.radians(10))
        noisy = arc + np.random.default_rng(1).normal(0, 0.01, arc.shape)
        fit = self.context.fit("cylinder", noisy, hold={"radius": 12.0, "parallel": (0, 0, 1)})
        self.assertEqual(fit.shape.size_1, 12.0)
        np.testing.assert_allclose(np.abs(fit.shape.direction), (0, 0, 1), atol=1e-12)
        self.assertEqual(fit.constraint_cost.freedoms, 3)
        # A middle of the arc lies on the radius through the middle of the points: 0.01 / sqrt(3600) mm.
        self.assertLess(np.hypot(*fit.shape.point_mm[:2]), 0.01)
        pairs = self.context.fit("cylinder", noisy, hold=[("radius", 12), ("parallel", np.array([0, 0, 2.0]))])
        self.assertEqual(pairs.shape.size_1, 12.0)

    def test_criteria(self):
        # Four points on a circle of radius 5 and one at 6: the smallest ring over it holds the far one.
        angles = np.radians([0, 90, 180, 270, 45])
        radii = np.array([5, 5, 5, 5, 6.0])
        points = np.stack([radii * np.cos(angles), radii * np.sin(angles), 0 * angles], -1)
        fit = self.context.fit("circle", points, criterion="minimum-circumscribed", keep_outliers=True)
        # Two or three points decide, and all lie inside.
        self.assertIn(len(fit.contacts), (2, 3))
        self.assertIn(4, fit.contacts)
        np.testing.assert_allclose(fit.contact_points, points[fit.contacts])
        away = np.linalg.norm(points - fit.shape.point_mm, axis=1)
        self.assertLess(away.max(), fit.shape.size_1 + 1e-12)
        np.testing.assert_allclose(away[fit.contacts], fit.shape.size_1, atol=1e-12)

    def test_gross_outliers_are_named(self):
        points = cylinder()
        points += np.random.default_rng(2).normal(0, 0.01, points.shape)
        wild = np.array([3, 700, 2900])
        points[wild] *= (1.5, 1.5, 1)
        fit = self.context.fit("cylinder", points)
        np.testing.assert_array_equal(fit.rejected, wild)
        self.assertEqual(fit.quality.rejected, 3)
        kept = self.context.fit("cylinder", points, keep_outliers=True)
        self.assertEqual(len(kept.rejected), 0)

    def test_a_group_shares_its_axis(self):
        # Two halves of one shaft, moved; ten degrees of arc of the second would not tell its own axis.
        noise = np.random.default_rng(3)
        wide = cylinder() + noise.normal(0, 0.01, (3600, 3))
        arc = cylinder(radius=8.0, arc=np.radians(40)) + (0, 0, 60) + noise.normal(0, 0.01, (3600, 3))
        wide, arc = moved(POSE, wide), moved(POSE, arc)
        scan = self.context.scan(wide)
        (a, b), cost = self.context.fit_group("coaxial", [("cylinder", scan.all()), ("cylinder", arc)])
        np.testing.assert_allclose(np.abs(a.shape.direction @ b.shape.direction), 1, atol=1e-13)
        between = b.shape.point_mm - a.shape.point_mm
        self.assertLess(np.linalg.norm(np.cross(between, a.shape.direction)), 1e-10)
        self.assertEqual(cost.freedoms, 4)
        for fit, radius in ((a, 12.0), (b, 8.0)):
            self.assertLess(abs(fit.shape.size_1 - radius), max(2 * fit.uncertainty().size_1, 1e-3))
            self.assertLess(off_axis(fit.shape.point_mm), 0.01)
        with self.assertRaises(fitwright.Error) as raised:
            self.context.fit_group("coplanar", [("plane", wide), ("sphere", arc)])
        self.assertEqual(raised.exception.code, fitwright.Code.ARGUMENT)

    def test_what_is_no_cylinder_is_told(self):
        # Half an hour of angle of taper: a cone of 0.17 mm over 39 mm, in noise of 0.005 mm.
        points = cylinder()
        cone = points * (1, 1, 1) + points * (1, 1, 0) / 12 * (points[:, 2:] - 19.5) * np.tan(np.radians(0.25))
        noise = np.random.default_rng(6).normal(0, 0.005, points.shape)
        probable = {}
        for name, made in (("cylinder", points), ("cone", cone)):
            fit = self.context.fit("cylinder", made + noise, keep_outliers=True)
            self.assertEqual(fit.quality.criterion, "least-squares")
            probable[name] = {evidence.against: evidence for evidence in fit.evidence}["cone"]
        self.assertLess(probable["cone"].probability, 1e-6)
        self.assertGreater(probable["cylinder"].probability, 1e-3)
        # 19.5 mm × tan 0.25° at either end.
        self.assertAlmostEqual(probable["cone"].amplitude_mm, 0.0851, 2)

    def test_noise_and_errors_of_length(self):
        points = cylinder() + np.random.default_rng(7).normal(0, 0.02, (3600, 3))
        first = self.context.fit("cylinder", points)
        pooled = self.context.noise([first])
        for noise in (pooled, self.context.independent_noise()):
            fit = self.context.fit("cylinder", points, noise=noise)
            np.testing.assert_allclose(fit.shape.size_1, 12.0, atol=2e-3)
        # Independent points: the radius is as well known as the mean of 3600 of them.
        self.assertAlmostEqual(fit.uncertainty().size_1 / (2 * 0.02 / np.sqrt(3600)), 1.0, 1)
        error = fitwright.LengthError(fixed_mm=0.03, per_length=0.0001)
        scan = self.context.scan(points)
        feature = first.feature("shaft", scan.all())
        wider = feature.add_length_error(error)
        self.assertGreater(wider.uncertainty().size_1, feature.uncertainty().size_1)
        longer = self.context.length_deviation(error, 1000.0)
        self.assertAlmostEqual(longer / self.context.length_deviation(error, 0.0), 0.13 / 0.03, 9)

    def test_a_reference_s_tilt_is_carried_over(self):
        points = cylinder(rows=6) + np.random.default_rng(8).normal(0, 0.01, (540, 3))
        reference = self.context.fit("plane", points[:90]).covariance()
        exact = self.context.fit("cylinder", points, hold={"parallel": (0, 0, 1)})
        carried = self.context.fit("cylinder", points, hold={"parallel": (0, 0, 1)}, reference=reference)
        self.assertEqual(exact.uncertainty().tilt_rad, 0.0)
        self.assertGreater(carried.uncertainty().tilt_rad, 1e-5)

    def test_distances_from_shapes(self):
        points = np.array([[0, 0, 7], [3, 4, 0], [0, -9, 2.0]])
        plane = fitwright.Shape.of("plane", (0, 0, 2), (0, 0, 2))
        np.testing.assert_allclose(self.context.distances(plane, points), (5, -2, 0))
        tube = fitwright.Shape.of("cylinder", (0, 0, 5), (0, 0, 1), 5.0)
        np.testing.assert_allclose(self.context.distances(tube, points), (-5, 0, 4))
        torus = fitwright.Shape.of("torus", (0, 0, 0), (0, 0, 1), 5.0, 1.0)
        np.testing.assert_allclose(self.context.distances(torus, points[1:2]), [-1], atol=1e-14)

    def test_fitters_are_listed(self):
        fitters = {fitter.id: fitter for fitter in self.context.fitters()}
        self.assertEqual(fitters["builtin.sphere"].kind, "sphere")
        self.assertEqual(fitters["builtin.plane"].minimum_points, 3)

    def test_versions(self):
        self.assertEqual(fitwright.__version__, fitwright.version())
        self.assertIn(fitwright.version(), fitwright.build())
        self.assertTrue(fitwright.known("borrowed-scan"))
        self.assertFalse(fitwright.known("no such thing"))


if __name__ == "__main__":
    unittest.main()
