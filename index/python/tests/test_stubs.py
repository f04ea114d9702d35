"""The type stubs say what the compiled module offers."""

import os
import subprocess
import sys

# Kept, for the types of NumPy take long to read.
CACHE = os.environ | {"MYPY_CACHE_DIR": os.path.join(sys.prefix, "mypy-cache")}


def test_stubs_and_module_agree(tmp_path):
    run = subprocess.run(
        [sys.executable, "-m", "mypy.stubtest", "curve_index._engine", "--ignore-disjoint-bases"],
        capture_output=True, text=True, cwd=tmp_path,
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_a_program_that_uses_the_wheel_is_typed(tmp_path):
    program = tmp_path / "program.py"
    program.write_text(
        "import numpy as np\n"
        "from numpy.typing import NDArray\n"
        "import curve_index\n"
        "index = curve_index.Index.build(np.zeros((2, 3, 1), dtype=np.float32), path='x.index')\n"
        "found = index.nearest([[0.0], [1.0], [2.0]], k=1, ids=[1], cutoff=2.0)\n"
        "ids: NDArray[np.uint64] = found.ids\n"
        "cost: float = curve_index.dtw([[0.0]], [[1.0]])\n"
        "wrong: int = index.nearest(band='wide')\n"
    )
    run = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "program.py"],
        capture_output=True, text=True, cwd=tmp_path, env=CACHE,
    )
    errors = [line for line in run.stdout.splitlines() if ": error: " in line]
    assert [line.split(":")[1] for line in errors] == ["8", "8"], run.stdout
