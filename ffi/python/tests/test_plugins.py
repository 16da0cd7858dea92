"""Plug-ins: loaded, refused, run in a worker and in this process.

Needs plug-ins and the worker: FITWRIGHT_TEST_PLUGINS names a folder with `plugins/stud`,
`plugins/fitters` and `open/stud`, which others may write to, FITWRIGHT_TEST_WORKER the program. The Rust test
`python_package` builds them.
"""

import os
import tempfile
import threading
import time
import unittest
from pathlib import Path

import fitwright
import numpy as np
from fitwright import Code
from machine import cylinder, moved, turned

FOLDER = os.environ.get("FITWRIGHT_TEST_PLUGINS")
WORKER = os.environ.get("FITWRIGHT_TEST_WORKER")
POSE = turned((1, 2, 3), 0.7, (100, -50, 30))


def stud():
    """A stud of diameter 8 from z = 0 to 39 mm, moved, with noise of 0.01 mm."""
    points = moved(POSE, cylinder(radius=4.0, turns=60))
    return points + np.random.default_rng(3).normal(0, 0.01, points.shape)


def ball():
    """Points on a sphere of radius 5."""
    points = np.random.default_rng(4).normal(size=(500, 3))
    return 5.0 * points / np.linalg.norm(points, axis=1, keepdims=True)


@unittest.skipUnless(FOLDER and WORKER, "FITWRIGHT_TEST_PLUGINS and FITWRIGHT_TEST_WORKER are not set")
class Plugins(unittest.TestCase):
    def context(self, trust=False, **options):
        context = fitwright.Context(threads=1, **options)
        self.assertEqual(context.load_plugins(Path(FOLDER) / "plugins", trust=trust, worker=WORKER), 2)
        return context

    def fails(self, code, call, *arguments, **options):
        with self.assertRaises(fitwright.Error) as raised:
            call(*arguments, **options)
        self.assertEqual(raised.exception.code, code, str(raised.exception))
        return raised.exception

    def test_a_part_by_an_importer(self):
        context = fitwright.Context()
        self.assertEqual(context.importers, [])
        context.load_plugins(Path(FOLDER) / "importers", worker=WORKER)
        (importer,) = context.importers
        self.assertEqual((importer.id, importer.extensions), ("hostile.honest-cube", ("cube",)))
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder, "a.cube")
            file.write_text("cube")
            part = context.read_part(file, reader=importer.id)
            self.assertAlmostEqual(part.describe().volume_mm3, 1000.0, 9)
            self.fails(Code.ARGUMENT, context.read_part, file, reader="hostile.none")
            self.fails(Code.UNKNOWN_FORMAT, context.read_part, file)

    def test_a_stud_is_found_and_the_same_both_ways(self):
        answers = []
        for trust in (False, True):
            fit = self.context(trust).fit("acme.stud", stud(), resolution_mm=0.5)
            found = {name: parameter.value for name, parameter in fit.parameters.items()}
            # The foot is one end or the other: an axis has no sign.
            ends = [np.linalg.norm(found["foot"] - moved(POSE, np.array([0, 0, z]))) for z in (0.0, 39.0)]
            self.assertLess(min(ends), 0.05)
            self.assertLess(abs(found["diameter"][0] - 8.0), fit.parameter_uncertainty("diameter") * 1.5)
            self.assertLess(abs(found["length"][0] - 39.0), fit.parameter_uncertainty("length"))
            self.assertLess(fit.parameter_uncertainty("diameter"), 0.01)
            self.assertEqual((fit.shape.kind, fit.notes), ("composite", []))
            answers.append((np.concatenate(list(found.values())), fit.covariance().matrix, fit.quality.rms_mm))
        for here, there in zip(*answers):
            np.testing.assert_array_equal(here, there)

    def test_lists(self):
        context = self.context(trust=True)
        self.assertEqual([(p.id, p.trusted, p.fitter_count) for p in context.plugins],
                         [("test.fitters", True, 3), ("acme.studs", True, 1)])
        self.assertEqual(context.plugins[1].folder, str((Path(FOLDER) / "plugins/stud").resolve()))
        of = {fitter.id: fitter for fitter in context.fitters()}
        self.assertEqual(of["builtin.plane"].options, ())
        longest = of["acme.stud"].options[0]
        self.assertEqual((longest.name, longest.sort, longest.quantity), ("longest", "number", "length"))
        self.assertEqual((longest.standard, longest.least, longest.most), (100.0, 1.0, 1000.0))
        self.assertEqual([o.sort for o in of["test.rows"].options], ["whole", "switch", "number"])
        self.assertTrue(fitwright.known("plug-in"))

    def test_refused(self):
        context = fitwright.Context(threads=1)
        self.assertEqual(context.load_plugins(Path(FOLDER) / "open", worker=WORKER), 0)
        (refusal,) = context.refused
        self.assertEqual(refusal.status, Code.PLUGIN_REFUSED)
        self.assertTrue(refusal.folder.endswith("/open/stud"))
        self.assertIn("others may write to it", refusal.reason)
        self.fails(Code.PLUGIN_REFUSED, context.fit, "acme.stud", stud())
        self.fails(Code.IO, context.load_plugins, Path(FOLDER) / "none")
        self.fails(Code.ARGUMENT, context.load_plugins, FOLDER, time_limit=-1.0)

    def test_options(self):
        context, points = self.context(trust=True), stud()
        self.assertIn("longest", self.fails(Code.ARGUMENT, context.fit, "acme.stud", points, options={"long": 1}).message)
        self.fails(Code.UNDETERMINED, context.fit, "acme.stud", points, options={"longest": 30})
        self.fails(Code.ARGUMENT, context.fit, "acme.stud", points, options={"longest": 0.5})
        self.fails(Code.ARGUMENT, context.fit, "cylinder", points, options={"longest": 30})
        self.fails(Code.ARGUMENT, context.fit, "acme.stud", points, hold={"radius": 4.0})

    def test_tables_and_notes(self):
        for trust in (False, True):
            scan = self.context(trust).scan(ball())
            fit = scan.all().fit("test.rows", options={"rows": 4, "loud": True})
            feature = fit.feature("ball", scan.all())
            for one in (fit, feature):
                self.assertEqual(one.parameters["steps"].value_kind, "table")
                table = one.table("steps")
                self.assertEqual([(c.name, c.quantity) for c in table.columns],
                                 [("step", "number"), ("feed", "length"), ("turn", "angle")])
                np.testing.assert_array_equal(table.values, np.outer(np.arange(4), (1, 10, 0.1)))
                self.assertFalse(table.values.flags.writeable)
                self.assertEqual(table.rows()[2], {"step": 2.0, "feed": 20.0, "turn": 0.2})
                self.assertAlmostEqual(one.parameter_uncertainty("lean"), 0.04)
                self.fails(Code.UNDETERMINED, one.parameter_uncertainty, "steps")
                self.fails(Code.ARGUMENT, one.table, "lean")
                with self.assertRaises(KeyError):
                    one.table("stairs")
                self.assertEqual(one.notes[-2:], ["a note of the plug-in", "as loud as asked"])
            empty = scan.all().fit("test.rows", options={"rows": 0}).table("steps")
            self.assertEqual((empty.values.shape, empty.rows()), ((0, 3), []))

    def test_cancelled_from_another_thread(self):
        for trust in (False, True):
            running = threading.Event()
            context = self.context(trust, progress=lambda step, fraction: running.set())

            def cancel():
                running.wait(60)
                context.cancel()

            other = threading.Thread(target=cancel)
            other.start()
            with self.assertRaises(fitwright.Cancelled):
                context.fit("test.waits", stud())
            other.join()
            context.resume()
            self.assertEqual(len(context.fit("acme.stud", stud()).parameters), 3)

    def test_a_crash_and_a_call_without_end_are_errors(self):
        context = self.context()
        self.fails(Code.PLUGIN, context.fit, "test.crashes", stud())
        self.assertEqual(context.fit("test.rows", ball()).shape.kind, "composite")
        hasty = fitwright.Context(threads=1)
        hasty.load_plugins(Path(FOLDER) / "plugins", worker=WORKER, time_limit=0.5, memory_limit=1 << 30)
        start = time.monotonic()
        self.assertIn("0.5 s", self.fails(Code.PLUGIN, hasty.fit, "test.waits", stud()).message)
        self.assertLess(time.monotonic() - start, 30)

    def test_jobs(self):
        job = """[job]\nname = "studs"\nlength = "mm"\nangle = "deg"\n[[scan]]\nname = "s"\nfile = "stud.xyz"
[[feature]]\nname = "stud"\nfit = "acme.stud"\nregion = "all"\noptions = { longest = 50 }\n"""
        with tempfile.TemporaryDirectory() as folder:
            np.savetxt(Path(folder) / "stud.xyz", stud())
            (feature,) = self.context().job(job, folder).run().features
            self.assertAlmostEqual(feature.parameters["diameter"].value[0], 8.0, delta=0.01)
            bare = fitwright.Context(threads=1)
            self.fails(Code.JOB, bare.job(job, folder).run)
            # A job may name its plug-ins itself; the worker is the host's.
            own = f'[plugins]\nfolders = ["{Path(FOLDER) / "plugins"}"]\n' + job
            bare.load_plugins("", worker=WORKER)
            self.assertEqual(len(bare.job(own, folder).run().features), 1)
            self.assertEqual(bare.plugins, [])


if __name__ == "__main__":
    unittest.main()
