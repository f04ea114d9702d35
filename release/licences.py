"""Licences of everything a released program holds, as one text on standard output.

Usage: licences.py TARGET. Asks cargo which packages are linked in for that target, and takes the texts
from the packages themselves. Fails where a package has neither a text nor one of the usual licences,
so that nothing is left out unnoticed.
"""

import json
import pathlib
import re
import subprocess
import sys

HERE = pathlib.Path(__file__).resolve().parent.parent
OWN = {"precedent", "curve-index"}
TEXT = re.compile(r"^(licen[cs]e|copying|copyright|notice|unlicense)", re.IGNORECASE)


def metadata(target):
    command = ["cargo", "metadata", "--locked", "--format-version", "1", "--filter-platform", target]
    return json.loads(subprocess.run(command, cwd=HERE, check=True, stdout=subprocess.PIPE).stdout)


def linked(data):
    """Ids of the packages the program is linked from: no tests, no build scripts' own needs."""
    nodes = {node["id"]: node for node in data["resolve"]["nodes"]}
    names = {package["id"]: package["name"] for package in data["packages"]}
    waiting = [key for key, name in names.items() if name == "precedent"]
    seen = set()
    while waiting:
        key = waiting.pop()
        if key in seen:
            continue
        seen.add(key)
        for need in nodes[key]["deps"]:
            if any(kind["kind"] is None for kind in need["dep_kinds"]):
                waiting.append(need["pkg"])
    return seen


def texts(package):
    folder = pathlib.Path(package["manifest_path"]).parent
    found = {path for path in folder.iterdir() if path.is_file() and TEXT.match(path.name)}
    if package.get("license_file"):
        found.add(folder / package["license_file"])
    return sorted(found)


def usual(expression):
    """Our own copies of the usual texts, for a package that names the licence and holds no text."""
    known = {"MIT": "LICENSE-MIT", "Apache-2.0": "LICENSE-APACHE"}
    return [HERE / file for name, file in known.items() if re.search(rf"(^|[ (/]){re.escape(name)}($|[ )/])", expression)]


def main():
    data = metadata(sys.argv[1])
    keep = linked(data)
    packages = [p for p in data["packages"] if p["id"] in keep and p["name"] not in OWN]
    packages.sort(key=lambda p: (p["name"], p["version"]))
    written = {}
    lines = [
        "What this program holds of others, and under which licences.",
        "",
        "Where a package leaves the choice, it is used under the first of its licences that is MIT,",
        "Apache-2.0 or BSD. SQLite, in libsqlite3-sys, is in the public domain.",
        "",
    ]
    for package in packages:
        expression = package["license"] or f"see its text ({package['license_file']})"
        files = texts(package) or usual(expression)
        if not files:
            sys.exit(f"{package['name']} {package['version']}: '{expression}', and no text of it was found")
        numbers = []
        for file in files:
            text = file.read_text(encoding="utf-8", errors="replace").strip()
            numbers.append(written.setdefault(text, len(written) + 1))
        authors = ", ".join(package["authors"])
        lines.append(f"{package['name']} {package['version']}: {expression}; texts {', '.join(map(str, numbers))}")
        if authors:
            lines.append(f"    by {authors}")
        if package["repository"]:
            lines.append(f"    {package['repository']}")
    for text, number in written.items():
        lines += ["", f"==== text {number} " + "=" * 60, "", text]
    print("\n".join(lines))


main()
