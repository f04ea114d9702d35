"""The example finds what is planted in its study and ends in a picture."""

import os
import pathlib
import subprocess
import sys

import matplotlib.image
import numpy as np

EXAMPLES = pathlib.Path(__file__).resolve().parent.parent / "examples"


def run(*words):
    run = subprocess.run(
        [sys.executable, *map(str, words)], capture_output=True, text=True, env=os.environ | {"MPLBACKEND": "Agg"}
    )
    assert run.returncode == 0, run.stderr
    return run.stdout


def test_the_example_finds_the_player_who_was_planted_alike(tmp_path):
    run(EXAMPLES / "make_study.py", tmp_path / "study")
    assert np.load(tmp_path / "study" / "curves-core-1.npy").shape == (40, 101, 12)
    said = run(EXAMPLES / "who_serves_alike.py", tmp_path / "study", "-o", tmp_path / "alike.png")
    lines = said.splitlines()
    assert lines[0] == "s12 of kestrel; nearest serves of other players:"
    assert [line.split()[1] for line in lines[1:6]] == ["wren"] * 5
    picture = matplotlib.image.imread(tmp_path / "alike.png")
    assert picture.shape[:2] == (484, 1540) and 0.02 < (picture[..., :3].min(axis=2) < 0.5).mean() < 0.5
