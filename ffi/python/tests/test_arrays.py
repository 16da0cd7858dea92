"""Arrays go in and out without copying, and live as long as they are needed."""

import gc
import unittest
import weakref

import fitwright
import numpy as np
from machine import block, cylinder


def at(array):
    return array.__array_interface__["data"][0]


class Watched(np.ndarray):
    """A numpy array that owns its memory and can be watched."""

    @classmethod
    def of(cls, array):
        out = cls(array.shape)
        out[:] = array
        return out


class Arrays(unittest.TestCase):
    def setUp(self):
        self.context = fitwright.Context(threads=1)
        self.points, self.triangles = block(n=80)

    def test_borrowed_arrays_are_used_where_they_lie(self):
        before = self.context.memory
        scan = self.context.scan(self.points, self.triangles, borrow=True)
        self.assertEqual(self.context.memory, before)
        self.assertEqual(scan.describe().borrows, 3)
        self.assertEqual(at(scan.points), at(self.points))
        self.assertTrue(np.shares_memory(scan.points, self.points))
        self.assertTrue(np.shares_memory(scan.triangles, self.triangles))
        signed = self.triangles.view(np.int32)
        scan = self.context.scan(self.points, signed, borrow=True)
        self.assertTrue(np.shares_memory(scan.triangles, signed))

    def test_copied_arrays_are_not(self):
        scan = self.context.scan(self.points, self.triangles)
        self.assertFalse(np.shares_memory(scan.points, self.points))
        np.testing.assert_array_equal(scan.points, self.points)
        np.testing.assert_array_equal(scan.triangles, self.triangles)
        self.assertEqual(self.context.memory, self.points.nbytes + self.triangles.nbytes)

    def test_what_cannot_be_borrowed_is_copied(self):
        scan = self.context.scan(self.points.astype("f4"), self.triangles, borrow=True)
        self.assertEqual(scan.describe().borrows, 2)
        np.testing.assert_array_equal(scan.points, self.points.astype("f4").astype("f8"))

    def test_a_scan_keeps_borrowed_arrays_and_views_keep_the_scan(self):
        points = Watched.of(self.points)
        watched = weakref.ref(points)
        scan = self.context.scan(points, self.triangles, borrow=True)
        region = scan.all()
        del points
        gc.collect()
        self.assertIsNotNone(watched())
        view = scan.points
        del scan, region
        gc.collect()
        np.testing.assert_array_equal(view, self.points)
        self.assertIsNotNone(watched())
        del view
        gc.collect()
        self.assertIsNone(watched(), "given back when the last view goes")

    def test_a_failed_call_gives_borrowed_arrays_back(self):
        points = Watched.of(self.points)
        watched = weakref.ref(points)
        with self.assertRaises(fitwright.Error) as raised:
            self.context.scan(points, self.triangles + np.uint32(10**6), borrow=True)
        self.assertEqual(raised.exception.code, fitwright.Code.ARGUMENT)
        del points, raised
        gc.collect()
        self.assertIsNone(watched())

    def test_views_are_read_only_and_of_the_library_s_memory(self):
        scan = self.context.scan(self.points, self.triangles)
        region = scan.grow((20, 15, 0), "plane")
        fit = region.fit("plane")
        for view in (scan.points, scan.normals, scan.triangles, region.ids):
            self.assertFalse(view.flags.writeable)
            self.assertFalse(view.flags.owndata)
        self.assertEqual(at(scan.points), at(scan.points))
        self.assertEqual(region.ids.dtype, np.uint32)
        del region
        self.assertEqual(fit.contacts.shape, (0,))
        self.assertEqual(self.context.scan(self.points).triangles.shape, (0, 3))

    def test_results_are_written_into_the_caller_s_array(self):
        plane = fitwright.Shape.of("plane", (0, 0, 1), (0, 0, 1))
        out = np.full(len(self.points) + 2, 7.0)
        got = self.context.distances(plane, self.points, out=out[1:-1])
        self.assertTrue(np.shares_memory(got, out))
        np.testing.assert_allclose(out[1:-1], self.points[:, 2] - 1)
        self.assertEqual((out[0], out[-1]), (7, 7))
        for wrong in (np.empty(3), np.empty(len(self.points), "f4"), np.empty(2 * len(self.points))[::2]):
            with self.assertRaises(ValueError):
                self.context.distances(plane, self.points, out=wrong)

    def test_strides_and_kinds_of_numbers(self):
        points = cylinder()
        wide = np.full((len(points), 7), np.nan)
        wide[:, 2:5] = points
        records = np.zeros(len(points), [("colour", "u4"), ("xyz", "f4", 3)])
        records["xyz"] = points
        exact = self.context.fit("cylinder", points).shape.size_1
        for given in (wide[:, 2:5], np.asfortranarray(points), points[::-1], points.astype(">f8"), points.tolist()):
            self.assertAlmostEqual(self.context.fit("cylinder", given).shape.size_1, exact, 12)
        for given in (points.astype("f4"), records["xyz"]):
            self.assertAlmostEqual(self.context.fit("cylinder", given).shape.size_1, exact, 5)
        scan = self.context.scan(wide[:, 2:5])
        np.testing.assert_array_equal(scan.points, points)
        inches = self.context.scan(points / 25.4, unit="inch")
        np.testing.assert_allclose(inches.points, points, atol=1e-12)

    def test_normals(self):
        outward = cylinder() * (1, 1, 0)
        scan = self.context.scan(cylinder(), normals=outward.astype("f4"))
        np.testing.assert_allclose(scan.normals, outward / 12, atol=1e-6)


if __name__ == "__main__":
    unittest.main()
