"""Every path that these pages name in back-quotes must exist."""

import pathlib
import re
import sys

root = pathlib.Path(__file__).resolve().parents[2]
missing = []
for page in ("DEVELOPERS.md", "README.md", "examples/MEASURED.md", "src/video/ONE-CAMERA.md"):
    for found in re.findall(r"`([^`\s]+)`", (root / page).read_text(encoding="utf-8")):
        if re.fullmatch(r"(src|index|tests|examples|release|demo-data|\.ci)(/[\w./-]*)?", found) and not (root / found).exists():
            missing.append(f"{page}: '{found}' does not exist; correct the page or restore the path")
print("\n".join(missing) or "every path exists")
sys.exit(bool(missing))
