"""What the package tells cffi is the binary interface that is committed, and the types are whole."""

import dataclasses
import os
import re
import subprocess
import sys
import unittest
from pathlib import Path

import fitwright
from fitwright import values
from fitwright._native import ffi, lib

PACKAGE = Path(__file__).resolve().parent.parent
ABI = PACKAGE.parent.parent / "include" / "fitwright.abi.txt"


class Declarations(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.lines = ABI.read_text().splitlines()

    def of(self, kind):
        return [line.split(" ", 2)[1:] for line in self.lines if line.startswith(f"{kind} ")]

    def test_constants(self):
        described = {name: int(value) for name, value in self.of("constant")}
        self.assertGreater(len(described), 70)
        self.assertEqual(described, {name: getattr(lib, name) for name in described})

    def test_structs(self):
        name, checked = "", 0
        for line in self.lines:
            words = line.split()
            if words[0] == "struct":
                name = words[1]
                self.assertEqual(ffi.sizeof(name), int(words[3]), name)
                self.assertEqual(ffi.alignof(name), int(words[5]), name)
            elif line.startswith("  "):
                self.assertEqual(ffi.offsetof(name, words[2]), int(words[0]), f"{name}.{words[2]}")
                checked += 1
        self.assertGreater(checked, 200)

    def test_functions(self):
        described = [name for name, _ in self.of("function")]
        self.assertGreater(len(described), 100)
        for name in described:
            # Looked up in the library itself.
            self.assertTrue(callable(getattr(lib, name)), name)

    def test_every_function_is_used(self):
        source = "".join(file.read_text() for file in (PACKAGE / "src" / "fitwright").glob("*.py"))
        missing = []
        for name, _ in self.of("function"):
            noun, verb = re.fullmatch(r"fitw_(saved_datum|[a-z0-9]+)_(\w+)", name).groups()
            if not any(form in source for form in (name, f'"{verb}"', f'"{noun}_{verb}"')):
                missing.append(name)
        # Parameters are asked for by number; a name is a key of the dictionary then.
        unused = ["fitw_feature_parameter_named", "fitw_fit_parameter_named"]
        # Handles are released by their noun, poses asked for by one word.
        missing = [name for name in missing if not name.endswith("_release")]
        self.assertEqual(sorted(missing), unused)

    def test_codes(self):
        described = {name[7:]: int(value) for name, value in self.of("constant") if name.startswith("FITW_E_")}
        self.assertEqual(described, {code.name: int(code) for code in fitwright.Code})

    def test_values_read_every_field(self):
        for value in values.Value.__subclasses__():
            fields = {name for name, _ in ffi.typeof(value._struct).fields}
            # What is counted is in the value itself.
            fields -= {"struct_size", "reserved", "reserved_2", "flags", "kind_name", "number_count", "share_count"}
            own = {field.name.rstrip("_") for field in dataclasses.fields(value)}
            own -= {"loops", "options", "numbers", "budget"}
            self.assertEqual(own, fields, value.__name__)

    def test_types(self):
        command = [sys.executable, "-m", "mypy", "--cache-dir", os.devnull, "src/fitwright"]
        out = subprocess.run(command, cwd=PACKAGE, capture_output=True, text=True)
        self.assertEqual(out.returncode, 0, out.stdout + out.stderr)
        self.assertTrue((Path(fitwright.__file__).parent / "py.typed").exists())

    def test_everything_public_says_what_it_is(self):
        for name in fitwright.__all__:
            thing = getattr(fitwright, name)
            self.assertTrue(thing.__doc__, name)
            if isinstance(thing, type):
                for attribute, member in vars(thing).items():
                    if not attribute.startswith("_") and (callable(member) or isinstance(member, property)):
                        self.assertTrue(member.__doc__, f"{name}.{attribute}")


if __name__ == "__main__":
    unittest.main()
