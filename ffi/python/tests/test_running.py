"""Long calls: other threads run, Ctrl-C and callbacks stop them."""

import signal
import subprocess
import sys
import tempfile
import threading
import time
import unittest
from pathlib import Path

import fitwright
import numpy as np
from machine import cylinder

# Join two wavy scans by surface: seconds of work, in many steps.
WORK = """
import fitwright, numpy as np, sys, time
def wavy(shift, n=420):
    x, y = np.meshgrid(np.linspace(0, 100, n), np.linspace(0, 100, n))
    x = x + shift
    return np.stack([x, y, 3 * np.sin(x / 7) * np.cos(y / 9)], -1).reshape(-1, 3) + noise.normal(0, 0.02, (n * n, 3))
noise = np.random.default_rng(4)
a, b = wavy(0.0), wavy(0.13)
"""

INTERRUPTED = WORK + """
def progress(step, fraction):
    print("working", flush=True)
context = fitwright.Context(threads=1, progress=progress)
to, from_ = context.scan(a), context.scan(b)
try:
    while True:
        context.join_by_surface(to, from_)
except KeyboardInterrupt:
    at = time.monotonic()
    # The context can be used again.
    radius = context.fit("sphere", np.eye(3).tolist() + (-np.eye(3)).tolist()).shape.size_1
    print("interrupted", abs(radius - 1) < 1e-12, flush=True)
"""


class Running(unittest.TestCase):
    def test_ctrl_c_ends_a_long_call(self):
        child = subprocess.Popen(
            [sys.executable, "-c", INTERRUPTED], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            cwd=Path(__file__).parent,
        )
        try:
            self.assertEqual(child.stdout.readline(), "working\n")
            sent = time.monotonic()
            child.send_signal(signal.SIGINT)
            out, errors = child.communicate(timeout=60)
        finally:
            child.kill()
        self.assertLess(time.monotonic() - sent, 20)
        self.assertEqual(out.splitlines()[-1], "interrupted True", errors)
        self.assertEqual(child.returncode, 0, errors)

    def test_other_threads_run_during_a_call(self):
        space = {}
        exec(WORK, space)
        context = fitwright.Context(threads=1)
        to, from_ = context.scan(space["a"]), context.scan(space["b"])
        ended = threading.Event()

        def work():
            context.join_by_surface(to, from_)
            ended.set()

        ticks, start = 0, time.monotonic()
        worker = threading.Thread(target=work)
        worker.start()
        while not ended.wait(0.002):
            ticks += 1
        worker.join()
        took = time.monotonic() - start
        self.assertGreater(took, 0.1, "too short to tell")
        # One tick each 2 ms; a call that held the interpreter would leave two or three in all.
        self.assertGreater(ticks, took / 0.002 / 20)

    def test_many_threads_share_a_scan(self):
        context = fitwright.Context(threads=2)
        scan = context.scan(cylinder())
        radii, failures = [], []

        def work():
            try:
                for _ in range(20):
                    radii.append(scan.all().fit("cylinder").shape.size_1)
            except Exception as failure:
                failures.append(failure)

        threads = [threading.Thread(target=work) for _ in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        self.assertEqual(failures, [])
        self.assertEqual(len(radii), 120)
        self.assertEqual(len(set(radii)), 1, "the same to the bit")

    def test_progress_is_reported_and_may_cancel_or_raise(self):
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder, "points.xyz")
            np.savetxt(file, np.tile(cylinder(), (40, 1)))
            seen = []
            context = fitwright.Context(progress=lambda step, fraction: seen.append((step, fraction)))
            self.assertEqual(context.read_scan(file).describe().point_count, 40 * 3600)
            self.assertGreater(len(seen), 0)
            self.assertTrue(all(step and 0 <= fraction <= 1 for step, fraction in seen))

            stopping = fitwright.Context(progress=lambda step, fraction: False)
            with self.assertRaises(fitwright.Cancelled) as raised:
                stopping.read_scan(file)
            self.assertEqual(raised.exception.code, fitwright.Code.CANCELLED)

            def angry(step, fraction):
                raise ZeroDivisionError(step)

            raising = fitwright.Context(progress=angry)
            with self.assertRaises(ZeroDivisionError):
                raising.read_scan(file)
            # Neither leaves the context cancelled.
            self.assertEqual(len(raising.scan(cylinder()).points), 3600)

    def test_cancel_holds_until_resume(self):
        context = fitwright.Context(threads=1)
        scan = context.scan(cylinder())
        context.cancel()
        for _ in range(2):
            with self.assertRaises(fitwright.Cancelled):
                scan.grow((12, 0, 5), "cylinder")
        context.resume()
        self.assertGreater(len(scan.grow((12, 0, 5), "cylinder")), 3000)

    def test_the_log_gets_errors(self):
        lines = []
        context = fitwright.Context(log=lambda level, line: lines.append((level, line)))
        with self.assertRaises(fitwright.Error):
            context.read_scan("no such.ply")
        self.assertEqual([level for level, _ in lines], ["error"])
        self.assertIn("no such.ply", lines[0][1])

    def test_what_is_made_may_outlive_its_context(self):
        scan = fitwright.Context().scan(cylinder())
        self.assertAlmostEqual(scan.all().fit("cylinder").shape.size_1, 12.0)


if __name__ == "__main__":
    unittest.main()
