"""Build backend: maturin, told what the C interface is by the committed header.

maturin declares to cffi what stands in `header.h` in cargo's target folder. cffi reads C without directives,
so `include/fitwright.h` goes there without them; numbers stay.
"""

import json
import os
import re
import subprocess
from pathlib import Path

from maturin import (  # noqa: F401  (hooks of PEP 517)
    get_requires_for_build_editable,
    get_requires_for_build_wheel,
    prepare_metadata_for_build_editable,
    prepare_metadata_for_build_wheel,
)
import maturin

ROOT = Path(__file__).resolve().parent.parent.parent


def build_wheel(directory, config_settings=None, metadata_directory=None):
    write_declarations()
    return maturin.build_wheel(directory, config_settings, metadata_directory)


def build_editable(directory, config_settings=None, metadata_directory=None):
    write_declarations()
    return maturin.build_editable(directory, config_settings, metadata_directory)


def build_sdist(directory, config_settings=None):
    raise RuntimeError("no source archive: install from the repository, pip install ./ffi/python")


def write_declarations():
    header = (ROOT / "include" / "fitwright.h").read_text(encoding="utf-8")
    folder = target_folder()
    folder.mkdir(parents=True, exist_ok=True)
    # Renamed into place: another build may be reading the one that is there.
    made = folder / f"header.{os.getpid()}.h"
    made.write_text(declarations(header), encoding="utf-8")
    made.replace(folder / "header.h")


def declarations(header):
    """The header's types, prototypes and numbers."""
    text = re.sub(r"/\*.*?\*/", "", header, flags=re.DOTALL)
    text = re.sub(r"//.*", "", text)
    text = re.sub(r"#ifdef __cplusplus\s+(extern \"C\" \{|\})\s+#endif", "", text)
    number = re.compile(r"#define FITW_\w+ -?\d+$")
    lines = [line for line in text.splitlines() if line.strip()]
    return "\n".join(line for line in lines if not line.startswith("#") or number.match(line))


def target_folder():
    command = ["cargo", "metadata", "--no-deps", "--format-version", "1"]
    out = subprocess.run(command, cwd=ROOT / "ffi", check=True, stdout=subprocess.PIPE).stdout
    return Path(json.loads(out)["target_directory"])
