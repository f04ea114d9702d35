"""Checks both Cargo.lock against weighed.toml where the advisory database cannot be fetched.

Fails if an exception of deny.toml was not weighed or the other way round, if what was weighed is
no longer what is built on, or if a version known to be weak came in. It cannot know of advisories
that nobody has written down here: what it passes is not known to be sound.
"""

import pathlib
import sys
import tomllib

root = pathlib.Path(__file__).parent.parent


def load(name):
    return tomllib.loads((root / name).read_text())


def number(version):
    return tuple(int(part) for part in version.split("-")[0].split("+")[0].split("."))


weighed = load(".ci/weighed.toml")
locked = {}
for lock in ("Cargo.lock", "index/python/Cargo.lock"):
    for package in load(lock)["package"]:
        versions = locked.setdefault(package["name"], [])
        if package["version"] not in versions:
            versions.append(package["version"])
wrong = []

ignored = {entry["id"] for entry in load("deny.toml")["advisories"]["ignore"]}
excepted = {entry["id"] for entry in weighed["exception"]}
for name in sorted(ignored - excepted):
    wrong.append(f"{name}: excepted in deny.toml but not weighed in .ci/weighed.toml")
for name in sorted(excepted - ignored):
    wrong.append(f"{name}: weighed in .ci/weighed.toml but no exception in deny.toml")
for entry in weighed["exception"]:
    found = locked.get(entry["crate"], [])
    if found != [entry["version"]]:
        wrong.append(
            f"{entry['id']}: weighed for {entry['crate']} {entry['version']}, Cargo.lock has "
            f"{', '.join(found) or 'none'}; weigh it again"
        )
    if len(entry["reason"].split()) < 5:
        wrong.append(f"{entry['id']}: the reason is too short to be one")
for entry in weighed["known"]:
    for version in locked.get(entry["crate"], []):
        if "below" not in entry or number(version) < number(entry["below"]):
            wrong.append(f"{entry['id']}: {entry['crate']} {version} is affected; leave it or go beyond")

for line in wrong:
    print(line, file=sys.stderr)
print(f"{len(excepted)} exceptions and {len(weighed['known'])} known advisories against {sum(map(len, locked.values()))} locked versions")
sys.exit(1 if wrong else 0)
