#!/usr/bin/env python3
"""Writes `seeds/`, one small folder for each target, from the project's own fixtures and samples.

    python3 tests/fuzz/make_seeds.py PROGRAM

PROGRAM: a built `precedent`, which makes the files that are derived from a library. Needs ffmpeg for the clips.
Everything in the seeds is invented by the project, as the fixtures are.
"""

import json
import os
import re
import shutil
import sqlite3
import struct
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
MOTION = ROOT / "tests/fixtures/motion"
DEMO = ROOT / "demo-data"
GOLDEN = ROOT / "src/library/tests/golden"


def put(target, name, content):
    folder = HERE / "seeds" / target
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())


def recordings():
    for file in sorted(MOTION.glob("small-*.c3d")):
        put("c3d", file.name, file.read_bytes())
    put("c3d", "written-by-ezc3d.c3d", (MOTION / "written-by-ezc3d.c3d").read_bytes())
    trc = (DEMO / "basket.trc").read_text().splitlines(keepends=True)
    put("trc", "six-frames.trc", "".join(trc[:12]).replace("\t644\t", "\t6\t"))
    put("trc", "narrow.trc", narrow(trc, 9))
    put("bvh", "standing.bvh", (MOTION / "standing.bvh").read_bytes())
    clip = json.loads((DEMO / "phone-clip.json").read_text())
    clip["frames"] = clip["frames"][:3]
    put("keypoints", "phone.json", json.dumps(clip, separators=(",", ":")))
    flat = [[round(0.01 * n + 0.1 * k, 3) for k in range(3)] for n in range(17)]
    put("keypoints", "seventeen.json", json.dumps([{"keypoints": sum(flat, []), "score": 1.0}] * 2))
    five = [round(0.01 * n, 3) for n in range(75)]
    people = {"version": 1.3, "people": [{"person_id": [-1], "pose_keypoints_2d": five}]}
    put("keypoints", "twenty-five.json", json.dumps(people))
    # A file a frame; targets/recordings.rs says how they are written as one.
    frame = json.dumps(people)
    put("keypoints_folder", "two-frames", "\n".join([frame, frame.replace("0.02", "0.03")]))
    put("keypoints_folder", "named", f"serve_000000000007_keypoints:{frame}\nserve_000000000012_keypoints:{frame}\n")
    rows = (DEMO / "table.csv").read_text().splitlines(keepends=True)
    body = rows[4:]
    put("joint_table", "six-frames.csv", "".join(rows[:10]))
    # One serve at 30 Hz, whole enough to be found.
    few = [rows[0].replace("60", "30"), *rows[1:3], *bare([rows[3], *body[:260:2]])]
    put("joint_table", "serve.csv", "".join(few))
    cell = lambda n: f"0.{n % 7} {n % 3}.5 2.0 1.0\n"
    put("depth20", "three-frames.txt", "".join(cell(n) for n in range(60)))
    standing = lambda frame: "".join(
        f"{0.1 * (joint % 4) - 0.2:.3f} {1.7 - 0.08 * joint + 0.01 * frame:.3f} 2.500 1\n"
        for joint in range(20)
    )
    put("depth20", "standing.txt", "".join(standing(frame) for frame in range(5)))


def bare(rows):
    """Rows of a table without the joints that a serve is found without, to the centimetre."""
    cells = [row.rstrip("\n").split(",") for row in rows]
    kept = [
        at
        for at, name in enumerate(cells[0])
        if not re.search("eye|ear|thumb|index|little|_hand|heel", name)
    ]
    short = lambda cell: f"{float(cell):.3f}" if re.fullmatch(r"-?\d+\.\d+", cell) else cell
    return [",".join(short(row[at]) for at in kept) + "\n" for row in cells]


def narrow(trc, frames):
    """The same with the markers a body needs and no more frames than told."""
    head = [line.rstrip("\n").split("\t") for line in trc[:6]]
    rows = [line.rstrip("\n").split("\t") for line in trc[6 : 6 + frames]]
    head[2][2] = head[2][7] = str(frames)
    lines = ["\t".join(cells) for cells in head + rows]
    return "\r\n".join(lines) + "\r\n"


def packs():
    pack = ROOT / "src/exchange/golden/pack-2.zip"
    with zipfile.ZipFile(pack) as archive:
        manifest = json.loads(archive.read("manifest.json"))
        cases = archive.read("cases.jsonl").decode().splitlines()
    put("pack", "whole.zip", pack.read_bytes())
    put("pack", "for-keys", b"PrecSeal" + (2).to_bytes(4, "little") + (1).to_bytes(4, "little") + bytes(200))
    put("pack", "passphrase", b"PrecSeal" + (1).to_bytes(4, "little") + bytes(200))
    key = "ab" * 32
    player = json.loads(cases[0])["player"]["player"]
    now = {
        **{**manifest, "format": 4, "id": "", "recordings": 0, "serves": 0},
        "withdrawn": ["0" * 64],
        "withdrawn_items": [{"player": player, "kind": "case", "uid": "2025-01-02"}],
    }
    fault = (ROOT / "src/catalogue/data/faults_toss.toml").read_text()
    entry = next(part for part in re.split(r"(?m)^(?=\[\[)", fault) if part.startswith("[[fault]]"))
    ident = re.search(r'^id = "(.*)"', entry, re.M).group(1)
    now["catalogue"] = {
        "version": "0.1.0",
        "own": [["fault", "own_fault", "Our own fault"]],
        "entries": [{"kind": "fault", "id": ident, "toml": entry}],
    }
    case = json.loads(cases[1])
    case["case"]["plans"][0]["ended"] = {
        "day": "2026-05-01", "how": "replaced", "replaced_by": key, "by": "away-39af5cc4", "reason": "moved on",
    }
    lines = [cases[0], json.dumps(case, separators=(",", ":"))]
    put("pack_inside", "case", "\n".join([json.dumps(now, separators=(",", ":")), *lines, ""]))
    put("pack_inside", "bare", "\n".join([json.dumps({**now, "catalogue": {"version": "0", "own": []}}), *cases[:2], ""]))
    recording = json.loads(cases[2])
    recording["recording"]["moments"] = [
        {"serve": 0, "event": "contact", "witness": {"person": "away-39af5cc4"}, "time_s": 1.5, "frame": 180},
        {"serve": 0, "event": "contact", "witness": "sound", "time_s": 1.5, "frame": 180, "sure": [0.01, 0.9]},
    ]
    whole = {**now, "recordings": 1, "serves": 1}
    lines.append(json.dumps(recording, separators=(",", ":")))
    put("pack_inside", "recording", "\n".join([json.dumps(whole, separators=(",", ":")), *lines, ""]))


def keys():
    put("keys", "receiver", "North Side=precedent-key-" + "0a" * 32 + "-231576ee")  # The last eight: its blake3.
    put("keys", "signing", "precedent signing key 1\n" + "0b" * 32 + "\n")
    put("keys", "receiving", "precedent receiving key 1\n" + "0c" * 32 + "\n")


def clips():
    """Needs ffmpeg. A third of a second each, with a sound, as small as they come."""
    with tempfile.TemporaryDirectory() as folder:
        for name, video in [
            ("clip.mp4", ["-c:v", "libx264", "-pix_fmt", "yuv420p", "-c:a", "aac"]),
            ("clip.webm", ["-c:v", "libvpx", "-c:a", "libopus"]),
            ("clip.avi", ["-c:v", "mjpeg", "-pix_fmt", "yuvj420p", "-c:a", "pcm_s16le", "-ar", "16000"]),
        ]:
            made = ["-f", "lavfi", "-i", "color=gray:size=32x32:rate=30:duration=0.34"]
            made += ["-f", "lavfi", "-i", "sine=frequency=440:duration=0.34", "-ac", "1", *video, "-bitexact"]
            file = Path(folder) / name
            subprocess.run(["ffmpeg", "-v", "error", "-y", *made, str(file)], check=True)
            put("clip", name, file.read_bytes())
        voice = Path(folder) / "voice.wav"
        made = ["-f", "lavfi", "-i", "sine=frequency=440:duration=0.1:sample_rate=8000", "-bitexact"]
        subprocess.run(["ffmpeg", "-v", "error", "-y", *made, str(voice)], check=True)
        put("clip", "voice.wav", voice.read_bytes())
    put("clip", "list", "#EXTM3U\n#EXT-X-TARGETDURATION:5\n#EXTINF:5,\nclip\n#EXT-X-ENDLIST\n")
    put("clip", "parts", "ffconcat version 1.0\nfile clip\n")
    # Form 1: size, lost frames, frames, names, points; numbers below 251 are one byte.
    points = struct.pack("<9f", 10, 20, 0.5, float("nan"), float("nan"), 0, 11, 21, 0.9)
    put("kept_points", "three", b"\x01\x00\x64\xc8\x01\x03\x00\x01\x02\x01\x04nose\x03" + points)


def small_library(source, file):
    """A copy with pages of 512 bytes, a fifth of the size."""
    shutil.copy(source, file)
    db = sqlite3.connect(file)
    for line in ["PRAGMA journal_mode = DELETE", "PRAGMA page_size = 512", "VACUUM"]:
        db.execute(line)
    db.close()


def libraries(program):
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        for number in (1, 5, 7):
            file = folder / f"{number}.db"
            small_library(GOLDEN / f"format-{number}.db", file)
            put("library_file", f"format-{number}.db", file.read_bytes())
        db = sqlite3.connect(folder / "7.db")
        tables = [name for (name,) in db.execute(
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%' ORDER BY name"
        )]
        at = 0
        for table in tables:
            if db.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,):
                continue
            for (_, column, *_rest) in db.execute(f"PRAGMA table_info({table})").fetchall():
                (value,) = db.execute(f"SELECT {column} FROM {table}").fetchone()
                head = bytes([at])
                at += 1
                name = f"{table}-{column}"
                if isinstance(value, bytes) and len(value) > 18 and value[:1] == b"P":
                    put("library_values", name, head + b"\x05" + value[18:])
                elif isinstance(value, bytes):
                    put("library_values", name, head + b"\x03" + value[:600])
                elif isinstance(value, str) and column not in ("uid", "made", "content_hash"):
                    put("library_values", name, head + b"\x00" + value.encode())
                elif isinstance(value, float):
                    put("library_values", name, head + b"\x02" + bytes(6) + b"\xf0\x7f")
        db.close()
        # What is derived from it.
        library = folder / "library"
        library.mkdir()
        shutil.copy(GOLDEN / "format-7.db", library / "library.db")
        env = {**os.environ, "PRECEDENT_LIBRARY": str(library)}
        subprocess.run([program, "find", "folds"], check=True, env=env, stdout=subprocess.DEVNULL)
        subprocess.run([program, "verify", "--rebuild"], check=True, env=env, stdout=subprocess.DEVNULL)
        files = sorted(
            file
            for name in ("curves", "heads", "outcomes", "words")
            for file in (library / name).rglob("*")
            if file.is_file()
        )
        for at, file in enumerate(files):
            put("derived_files", f"{at:02}-{file.suffix[1:] or file.stem}", damaged(at, file.read_bytes()[: 1 << 14]))
        # What targets/library.rs lays beside them, in that order.
        at = len(files)
        put("derived_files", f"{at:02}-film", damaged(at, b'{"first":0,"sharp":[3,4],"quick":[1,1]}'))
        put("derived_files", f"{at + 3:02}-still", damaged(at + 3, bytes(8) + b"jpeg"))
        waiting = {
            "hash": "0a" * 32,
            "file": "p07/2026-03-04-side.mp4",
            "asks": ["player", "hand", "capture_rate", "person", "view"],
            "why": "nobody said whose it is",
            "said": json.dumps({"path": {"player": "p07", "rate_hz": 240.0}}),
        }
        put("derived_files", f"{at + 4:02}-waiting", damaged(at + 4, json.dumps(waiting).encode()))
        two = [file.name for file in files]
        lists, norms = two.index(".managed.json"), next(n for n, name in enumerate(two) if name.endswith(".fieldnorm"))
        put("derived_files", "two", damaged(lists, files[lists].read_bytes()) + damaged(norms, files[norms].read_bytes()))


def damaged(which, content):
    """One file of several: which, how long, what it holds."""
    return bytes([which]) + len(content).to_bytes(2, "little") + content


def curves():
    for name in ("format-1.index", "format-2.index", "format-3.index"):
        content = (ROOT / "index/tests/golden" / name).read_bytes()
        put("curve_file", name, content)
        put("curve_file_summed", name, content)


def texts(program):
    for at, text in enumerate([
        "hand=left level=club",
        "fault=toss_low,shallow_leg_drive age>=12 age<18",
        'coach=ash words="toss drifts" setting!=practice_swing',
        "date>=2026-03 date<2026-04-02 speed>150 first-serve<60",
        "pain=none place=wall view=behind capture=markers",
        "squad=monday player=p07 drill=toss_hold type=flat",
        "attempt=first court=deuce target=wide age=u14 grip=continental",
        '"folds early" -toss arm~2 toss* AND (trunk OR note:arm)',
    ]):
        put("filter", f"{at:02}", text)
    data = ROOT / "src/catalogue/data"
    put("catalogue", "template.toml", (data / "template.toml").read_bytes())
    for file in ("faults_toss.toml", "drills_toss.toml", "general.toml"):
        text = (data / file).read_text()
        parts = re.split(r"(?m)^(?=\[\[)", text)
        for kind in sorted({part.split("]]")[0] for part in parts if part.startswith("[[")}):
            part = next(part for part in parts if part.startswith(kind + "]]"))
            put("catalogue", kind.strip("[") + ".toml", part.replace('id = "', 'id = "own_', 1))
            if kind in ("[[fault", "[[drill"):
                put("catalogue", kind.strip("[") + "-replaced.toml", part.replace("]]\n", "]]\nreplaces = true\n", 1))
    put("practice_card", "card.txt", """> Ash, 16 March, 18:04
> Practice card of plan n1 (0badcafe)
> 2026-03-16: sessions 1, repetitions 60, effort 5
> 2026-03-18: effort 7, pain 3 shoulder, words Stiff at first: better later
>
> 2026-03-19: words rain
> End of the card
""")
    put("practice_card", "other-plan.txt", "Practice card of plan n2 (1f3a9c2d)\n2026-04-16: effort 5\nEnd of the card")
    put("spoken_steps", "steps.json", json.dumps([
        {"at_s": 0, "do": {"play": {"speed": 0.25}}},
        {"at_s": 1.5, "do": {"frame": 104}},
        {"at_s": 2, "do": {"draw": {"kind": "line", "points": [[10, 20], [30, 40]]}}},
        {"at_s": 2.5, "do": {"draw": {"kind": "ring", "points": [[10, 20], [30, 40]]}}},
        {"at_s": 3, "do": {"draw": {"kind": "words", "at": None, "text": "legs first"}}},
        {"at_s": 4, "do": {"point": [20, 30]}},
        {"at_s": 5, "do": {"point": None}},
        {"at_s": 6, "do": "pause"},
        {"at_s": 7, "do": "clear"},
    ]))
    for at, text in enumerate([
        "{player}/{date}-{view}\nclips/p07/2026-03-04-side.mp4",
        "*_{player}_{hand}/{type}-{setting} {rate}\nday_avocet_left/flat-target 240fps.mov",
        "{player}-*-*-{date}\na-b-c-d-20260304.mp4",
    ]):
        put("path_pattern", f"{at:02}", text)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "template.csv"
        subprocess.run([program, "add", "--template", str(file)], check=True, stdout=subprocess.DEVNULL)
        put("past_records", "template.csv", file.read_bytes())
    put("past_records", "short.csv", "player,case_date,case_note\np07,2026-03-04,again\np08,2026-03-05,\n")


def page():
    asked = """
GET /
GET /find?words=arm&where=hand%3Dleft
POST /upload/recording?name=a.csv\\ntime_s,nose_x\\n0,1\\n
POST /leave/1\\n
GET /add
POST /add\\nfile=1&player=p07&consent=keep&date=2026-03-04&rate=60
GET /work/1
POST /work/1/stop\\n
GET /work/1/file
POST /work/1/store\\nplayer=p07&consent=share
GET /player/1
GET /player/1/progress
GET /player/1/forget
POST /player/1/forget\\ncode=p07&sure=yes
GET /case/1
POST /case/1/judge\\nconfirm=toss_low&reject=wild_toss&severity=0%2C4&add=toss_low&limiting=toss_low&index_knuckle=2&heel_pad=2&note=a&serve=s1&speed=120&net=1&pain1=elbow&level1=3&no_pain=yes&attempt=first
POST /case/1/undo\\nchange=1
GET /case/1/plan?fault=tossing_arm_drops_early
POST /case/1/plan\\nfault=toss_low&drill=toss_over_rope&dose-toss_over_rope=3+x+10&where-toss_over_rope=wall&start=2026-03-05&review_on=2026-04-05&replaces=l2&reason=a&sure=all
POST /plan/2/follow-up\\ndate=2026-04-01&serve=s1&rating=1&sessions=3&note=a
POST /plan/2/end\\nhow=ended&ended=2026-04-01&reason=a
POST /plan/2/practice\\nday=2026-04-01&sessions=1&repetitions=30&effort=5&pain=2&where=elbow
GET /put-right/p1
GET /put-right/r1
POST /put-right/p1/amend\\ncode=p08&name=A&hand=left&level=club&born=2012-01-02&stature=1.5&consent=keep
POST /put-right/s1/move\\nplayer=p07&date=2026-03-05
POST /put-right/c1/remove\\nsure=yes&label=toss_low&by=ash
POST /put-right/c1/undo\\nchange=3
GET /serve/1
GET /serve/1?beside=s2
GET /serve/1/review/coach
GET /serve/1/bundle
GET /serve/1/moving
GET /serve/1/ribbon/elbow?width=700&beside=s2
POST /serve/1/moment\\nevent=contact&frame=30
POST /serve/1/draw\\nkind=line&points=10,20+30,40&frame=5&text=a
POST /serve/1/erase\\nmark=1
GET /serve/1/film/small
GET /squads?squad=monday
POST /squads\\nsquad=monday&from=2026-01-01&to=2026-12-31
GET /records
POST /records\\nfile=1&keep=yes
GET /records/past-records.csv
GET /sharing
POST /sharing\\nwhere=hand%3Dleft&receivers=precedent-key-00&passphrase=a&again=a&academy=b&notes=yes&sign=yes
POST /sharing/key\\nname=a
POST /sharing/look\\nfile=1
POST /sharing/1/undo\\n
GET /library
POST /library/check\\nrebuild=yes
POST /library/export\\nplayer=p07
GET /catalogue/fault/toss_low
GET /catalogue/drill/toss_hold
GET /guide/filming
GET /assets/viewer.js
RAW GET /?key=00 HTTP/1.1\\r\\nHost: 127.0.0.1:80\\r\\n\\r\\n
RAW POST /case/1/judge HTTP/1.1\\r\\nHost: localhost\\r\\nCookie: precedent-80=00\\r\\nContent-Length: 4\\r\\n\\r\\nadd=
RAW GET http://127.0.0.1/ HTTP/1.0\\r\\n\\r\\n
GET /asked
POST /asked\\nquestion=q0a0a0a0a&player=p07&view=side&hand=left&capture_rate=240&date=2026-03-04&leave=yes
GET /work/1/events
GET /work/1/document
POST /work/1/again\\nrate=60&hand=left
POST /work/1/leave\\n
GET /plan/1/card
POST /upload/voice?name=a.webm\\n\x1aE\xdf\xa3
GET /serve/1/spoken
POST /serve/1/spoken/part\\nfile=1&steps=%5B%7B%22at_s%22%3A2.5%2C%22do%22%3A%7B%22play%22%3A%7B%22speed%22%3A0.25%7D%7D%7D%2C%7B%22at_s%22%3A4%2C%22do%22%3A%22pause%22%7D%5D
POST /serve/1/spoken/back\\n
POST /serve/1/spoken/make\\n
GET /serve/1/spoken/0/steps
GET /serve/1/spoken/0/voice
GET /serve/1/moving/2
POST /serve/1/undo\\nchange=1
GET /serve/1/film
POST /serve/1/film/stop\\n
GET /catalogue
GET /catalogue/own
POST /catalogue/own\\nname=ours.toml&do=check&text=%5B%5Bfault%5D%5D%0Aid%20%3D%20%22own_fault%22
GET /guide
""".strip().splitlines()
    for at, line in enumerate(asked):
        content = line.replace("\\r", "\r").replace("\\n", "\n")
        put("page", f"{at:02}", content)


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    program = str(Path(sys.argv[1]).resolve())
    shutil.rmtree(HERE / "seeds", ignore_errors=True)
    recordings()
    packs()
    keys()
    clips()
    libraries(program)
    curves()
    texts(program)
    page()


if __name__ == "__main__":
    main()
