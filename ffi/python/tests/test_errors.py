"""Bad input gives the right code, a message and a place."""

import pickle
import tempfile
import unittest
from pathlib import Path

import fitwright
import numpy as np
from fitwright import Code
from machine import cylinder, plate


class Errors(unittest.TestCase):
    def setUp(self):
        self.context = fitwright.Context(threads=1)

    def fails(self, code, place, call, *arguments, **options):
        with self.assertRaises(fitwright.Error) as raised:
            call(*arguments, **options)
        error = raised.exception
        self.assertEqual(error.code, code, str(error))
        self.assertIsInstance(error.code, Code)
        self.assertIn(place, error.place)
        self.assertGreater(len(error.message), 10)
        self.assertFalse(error.message.startswith("FITW_"), "a sentence, not a name")
        return error

    def test_files(self):
        self.fails(Code.IO, "no such.ply", self.context.read_scan, "no such.ply")
        with tempfile.TemporaryDirectory() as folder:
            bad = Path(folder, "bad.obj")
            bad.write_text("v 0 0 0\nv 1 0 0\nv 1 nonsense 0\nf 1 2 3\n")
            self.fails(Code.FORMAT, "line 3", self.context.read_scan, bad)
            self.fails(Code.UNKNOWN_FORMAT, "x.docx", self.context.read_part, Path(folder, "x.docx"))

    def test_scans(self):
        points = cylinder()
        points[7, 1] = np.nan
        error = self.fails(Code.ARGUMENT, "fitw_scan_create", self.context.scan, points)
        self.assertIn("7", str(error))
        self.fails(Code.ARGUMENT, "", self.context.scan, np.empty((0, 3)))
        small = fitwright.Context(memory_limit=1000, threads=1)
        self.fails(Code.LIMIT, "", small.scan, cylinder())
        scan = self.context.scan(cylinder())
        self.fails(Code.PICK_OFF_SURFACE, "", scan.grow, (500, 0, 0), "cylinder")
        self.fails(Code.EMPTY_REGION, "", scan.in_sphere, (500, 0, 0), 3.0)
        self.fails(Code.ARGUMENT, "", scan.from_ids, [len(points)])
        skew = np.eye(4)
        skew[0, 1] = 0.5
        self.fails(Code.ARGUMENT, "", scan.move, skew)

    def test_fits(self):
        fit = self.context.fit
        self.fails(Code.TOO_FEW_POINTS, "", fit, "cylinder", cylinder()[:2])
        self.fails(Code.UNKNOWN_NAME, "", fit, "acme.tube", cylinder())
        # Points on one line are on any number of planes.
        line = np.linspace(0, 10, 50)[:, None] * (1, 2, 3)
        self.fails(Code.UNDETERMINED, "", fit, "plane", line)
        self.fails(Code.ARGUMENT, "", fit, "plane", cylinder(), hold={"half_angle": 0.3})

    def test_datums_features_and_parts(self):
        plane = np.array([[x, y, 0.0] for x in range(9) for y in range(9)])
        scan = self.context.scan(plane)
        feature = scan.all().fit("plane").feature("deck", scan.all())
        self.fails(Code.DATUM, "", self.context.datum, (feature, "+z", ""), (feature, "+x", ""))
        self.fails(Code.CONSTRUCTION, "", feature.intersect, "edge", feature.rename("same"))
        self.fails(Code.DUPLICATE_NAME, "", self.context.step_text, [feature, feature])
        points, triangles = plate()
        opened = self.context.part(points, triangles[1:])
        self.assertFalse(opened.describe().closed)
        scene = fitwright.Scene(opened)
        scene.scan(scan, "plane")
        self.fails(Code.OPEN_PART, "", scene.check)
        self.fails(Code.FORMAT, "", self.context.part, points, triangles + np.uint32(10**6), "plate")
        self.fails(Code.UNDETERMINED, "", opened.hole_at, (300, 0, 0))

    def test_jobs(self):
        self.fails(Code.JOB, "", self.context.job, "[job]\nname = 1\n")
        self.fails(Code.JOB, "line 2", self.context.job, "[job]\nname =\n")

    def test_words_and_shapes_that_python_can_judge(self):
        scan = self.context.scan(cylinder())
        with self.assertRaisesRegex(ValueError, "cylindre.*cylinder"):
            scan.grow((12, 0, 0), "cylindre")
        with self.assertRaisesRegex(ValueError, "criterion"):
            scan.all().fit("cylinder", criterion="best")
        for wrong in (np.zeros((3, 2)), np.zeros(3), np.zeros((2, 3, 3))):
            with self.assertRaisesRegex(ValueError, r"\(n, 3\)"):
                self.context.scan(wrong)
        with self.assertRaisesRegex(ValueError, "negative"):
            self.context.scan(cylinder(), np.array([[0, 1, -1]]))
        with self.assertRaisesRegex(ValueError, "4 × 4"):
            scan.move(np.eye(3))

    def test_an_error_can_be_sent_between_processes(self):
        error = pickle.loads(pickle.dumps(fitwright.Error(300, "message", "place")))
        self.assertEqual((error.code, error.message, error.place), (Code.IO, "message", "place"))
        self.assertEqual(fitwright.Error(9999, "of a later library").code, 9999)


if __name__ == "__main__":
    unittest.main()
