"""Writes an invented study as `precedent export` lays one out: curves-core-1.npy and .csv, serves.csv.

    python make_study.py FOLDER

Nobody served any of it. Eight players with five serves each, 101 samples x 12 channels, each in units of its
channel's scale. Kestrel and wren are planted alike: they share how they bend the legs; all others differ.
"""

import argparse
import csv
import pathlib

import numpy as np

# The header of an export's table names the channels.
CHANNELS = [
    "front_knee_flexion", "back_knee_flexion", "trunk_forward", "trunk_side", "pelvis_turn", "shoulder_turn",
    "hitting_arm_elevation", "hitting_elbow_flexion", "hitting_wrist_height", "tossing_arm_elevation",
    "tossing_elbow_flexion", "tossing_wrist_height",
]
PLAYERS = ["dunlin", "heron", "kestrel", "linnet", "plover", "siskin", "teal", "wren"]
ALIKE = ("kestrel", "wren")
SERVES, SAMPLES, BUMPS = 5, 101, 9


def curves(seed=7):
    """Sums of smooth bumps, a little early or late: players x serves x samples x channels."""
    rng = np.random.default_rng(seed)
    common = rng.normal(size=(BUMPS, len(CHANNELS)))
    habits = {player: 0.5 * rng.normal(size=common.shape) for player in PLAYERS}
    habits[ALIKE[1]] = habits[ALIKE[0]] + 0.08 * rng.normal(size=common.shape)
    percent = np.linspace(0, 1, SAMPLES)
    made = []
    for player in PLAYERS:
        for _ in range(SERVES):
            late = 0.03 * rng.normal() * np.sin(np.pi * percent)
            centres = (np.arange(BUMPS) + 0.5) / BUMPS
            bumps = np.exp(-0.5 * (((percent + late)[:, None] - centres) / 0.08) ** 2)
            made.append(bumps @ (common + habits[player] + 0.08 * rng.normal(size=common.shape)))
    return np.array(made, dtype=np.float32)


def write(folder):
    folder = pathlib.Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    serves = curves()
    np.save(folder / "curves-core-1.npy", serves)
    with (folder / "curves-core-1.csv").open("w", newline="") as file:
        table = csv.writer(file)
        table.writerow(["serve", "percent", *CHANNELS])
        for number, serve in enumerate(serves, 1):
            table.writerows([f"s{number}", sample, *values.tolist()] for sample, values in enumerate(serve))
    with (folder / "serves.csv").open("w", newline="") as file:
        table = csv.writer(file)
        table.writerow(["serve", "player", "channel_set"])
        table.writerows([f"s{n + 1}", PLAYERS[n // SERVES], "core-1"] for n in range(len(serves)))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder")
    write(parser.parse_args().folder)
