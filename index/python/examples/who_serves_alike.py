"""Who serves like this? The nearest serves of other players in an exported study, and why, as a picture.

    python who_serves_alike.py [STUDY] [--serve s12] [-o alike.png]

STUDY is a folder that `precedent export -o STUDY` wrote; without one, an invented study is made. Needs
matplotlib. Each part below is a cell of its own where you would rather step through it.
"""

# %% What to look at
import argparse
import csv
import pathlib
import tempfile

import make_study
import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np

from curve_index import Index, barycenter, explain

parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
parser.add_argument("study", nargs="?")
parser.add_argument("--serve", default="s12")
parser.add_argument("-o", "--output", default="alike.png")
asked = parser.parse_args()
if asked.study is None:
    asked.study = tempfile.mkdtemp()
    make_study.write(asked.study)
BAND = 10  # samples, of 101

# %% Read the study: the array is mapped, not copied
study = pathlib.Path(asked.study)
serves = np.load(study / "curves-core-1.npy", mmap_mode="r")
with (study / "curves-core-1.csv").open() as file:
    channels = next(csv.reader(file))[2:]
with (study / "serves.csv").open() as file:
    rows = [row for row in csv.DictReader(file) if row["channel_set"] == "core-1"]
names = [row["serve"] for row in rows]
players = np.array([row["player"] for row in rows])
query = names.index(asked.serve)

# %% The five nearest serves of other players
index = Index.build(serves)
own = np.flatnonzero(players == players[query])
found = index.nearest(serves[query], 5, band_frames=BAND, not_ids=own)
print(f"{asked.serve} of {players[query]}; nearest serves of other players:")
for place, distance in zip(found.ids, found.distances):
    print(f"  {names[place]:>4}  {players[place]:<10} distance {distance:.2f}")

# %% Why the first of them: which samples meet, and what the cost is made of
first = int(found.ids[0])
why = explain(serves[query], serves[first], band_frames=BAND)
typical = barycenter(serves[own], serves[query], band_frames=BAND)
most = int(why.channel_shares.argmax())
print(f"most of the cost: {channels[most]} ({100 * why.channel_shares[most]:.0f} %)")

# %% The picture
figure, (left, middle, right) = plt.subplots(1, 3, figsize=(14, 4.4), layout="constrained")
left.plot(serves[query][:, most], color="black", label=f"{asked.serve}, {players[query]}")
left.plot(typical.curve[:, most], color="black", linestyle=":", label=f"typical of {players[query]}")
left.plot(serves[first][:, most], color="#b5541c", linestyle="--", label=f"{names[first]}, {players[first]}")
left.set(title=f"Where they differ most: {channels[most].replace('_', ' ')}", xlabel="per cent of the serve",
         ylabel="in units of the channel's scale")
left.legend(frameon=False)

last = serves.shape[1] - 1
middle.fill_between([0, last], [-BAND, last - BAND], [BAND, last + BAND], color="0.92", label="the band")
middle.plot(why.path[:, 0], why.path[:, 1], color="black", label="samples that meet")
middle.set(title="When: on the diagonal, at the same time", xlabel=f"sample of {asked.serve}",
           ylabel=f"sample of {names[first]}", xlim=(0, last), ylim=(0, last), aspect="equal")
middle.legend(frameon=False, loc="upper left")

order = np.argsort(why.channel_shares)
right.barh([channels[at].replace("_", " ") for at in order], 100 * why.channel_shares[order], color="0.35")
right.set(title=f"What the distance of {why.distance:.2f} is made of", xlabel="per cent of the cost")
for axes in (left, middle, right):
    axes.spines[["top", "right"]].set_visible(False)
figure.savefig(asked.output, dpi=110)
print(f"picture: {asked.output}")
