#!/usr/bin/env python3
"""Plays a day of a busy academy on one library, with everything going wrong that may, in minutes.

    python3 tests/load/a_day.py PROGRAM [SECONDS_PER_HOUR] [SEED]

PROGRAM: a built `precedent`. As root, the library lies on a disk of its own (a file mounted as ext4), so
that the disk can be full and can be read-only; without root those hours are played without that fault, and
the report says so. Clock steps need `faketime` (Debian's package of that name).

Side by side: three writers, two readers, the page with somebody at it, and `verify` again and again.
Whatever runs is killed (SIGKILL) now and then. What is acknowledged (exit status 0, or the page's
redirection) is written down by a word of its own, and afterwards looked for, in the store itself and by the
program. Answers are held against the store while the day goes on, and against those of a library built anew
at its end. README.md beside this file holds what came of it.
"""

import collections
import http.client
import json
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SERVE = ROOT / "tests/fuzz/seeds/joint_table/serve.csv"
# What goes wrong in which hour; in all of them processes are killed.
FAULTS = {
    6: "full disk",
    7: "full disk",
    10: "read-only disk",
    13: "clock a day back",
    14: "clock 400 days on",
    15: "clock steps to and fro",
    18: "two machines",
    19: "two machines",
    22: "full disk",
}
PLAYERS = [f"player{n}" for n in range(6)]
DISK_MB = 96
# Refusals that have their reason in the work itself, and those that only a full or read-only disk explains.
ALWAYS = re.compile(r"is changing the library|is so already|nothing would change")
CLOCK = re.compile(r"not in the future")
DISK = re.compile(
    r"No space left|disk is full|no storage space|read-only file|readonly database|could not be brought into step|The disk does not",
    re.I,
)


class Day:
    def __init__(self, program, seconds, seed):
        self.program, self.seconds = program, seconds
        self.chance = random.Random(seed)
        self.root = os.geteuid() == 0
        self.faketime = shutil.which("faketime")
        self.work = Path(tempfile.mkdtemp(prefix="precedent-day-"))
        self.disk = self.work / "disk"
        self.disk.mkdir()
        self.stop = threading.Event()
        self.go = threading.Event()
        self.go.set()
        self.hour = 0
        self.lock = threading.Lock()
        self.acknowledged = {}
        self.unsure = set()
        self.counts = collections.Counter()
        self.refusals = collections.Counter()
        self.wrong = []
        self.running = set()
        self.number = 0
        self.page = None
        self.latest = collections.defaultdict(float)
        self.full_lock = threading.Lock()
        if self.root:
            image = self.work / "disk.img"
            image.write_bytes(b"")
            os.truncate(image, DISK_MB << 20)
            self.sh("mkfs.ext4", "-q", "-F", "-m", "0", str(image))
            self.sh("mount", "-o", "loop", str(image), str(self.disk))
        self.library = self.disk / "library"

    @staticmethod
    def sh(*command):
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)

    def explained(self, said):
        """Whether what goes wrong in this hour, or went in the last, explains a refusal."""
        faults = FAULTS.get(self.hour, ""), FAULTS.get(self.hour - 1, "")
        return bool(
            ALWAYS.search(said)
            or (any("clock" in fault for fault in faults) and CLOCK.search(said))
            or (any("disk" in fault for fault in faults) and DISK.search(said))
        )

    # --- one process

    def command(self, args, other_machine=False):
        command = [self.program, *args]
        fault = FAULTS.get(self.hour, "")
        if self.faketime and fault.startswith("clock"):
            step = {"clock a day back": "-1d", "clock 400 days on": "+400d"}.get(fault)
            step = step or self.chance.choice(["-1d", "+0", "+400d", "-3h", "-2000d"])
            command = ["faketime", "-f", step, *command]
        if other_machine and self.root:
            # Another name, another view of the mounts, another process numbering: what a second
            # computer is to a lock file, but for the network between them.
            inner = f"hostname elsewhere; exec {' '.join(map(repr_sh, command))}"
            command = ["unshare", "--uts", "--mount", "--pid", "--fork", "--kill-child", "sh", "-c", inner]
        return command

    def run(self, kind, args, other_machine=False, may_be_killed=True):
        """Exit status (None: killed), output, errors."""
        env = {**os.environ, "PRECEDENT_LIBRARY": str(self.library), "NO_COLOR": "1"}
        self.go.wait()
        began = time.monotonic()
        child = subprocess.Popen(
            self.command(args, other_machine), env=env, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        )
        with self.lock:
            if may_be_killed:
                self.running.add(child)
        out, err = child.communicate()
        with self.lock:
            self.running.discard(child)
            self.latest[kind] = max(self.latest[kind], time.monotonic() - began)
            killed = child.returncode < 0 or child.returncode == 137
            self.counts[kind, "killed" if killed else child.returncode] += 1
            if "panicked" in err:
                self.wrong.append(f"{kind}: panicked: {err[-800:]}")
            elif not killed and child.returncode != 0:
                line = err.strip().splitlines()[-1] if err.strip() else "(nothing said)"
                self.refusals[self.hour, kind, re.sub(r"\d+", "N", line)[:230]] += 1
                if not self.explained(err):
                    self.wrong.append(f"hour {self.hour}, {kind}: {line[:400]}")
        return None if killed else child.returncode, out, err

    def next(self):
        with self.lock:
            self.number += 1
            return self.number

    # --- who works

    def ids(self, sql, *params):
        # Asked of the store, beside the program.
        db = sqlite3.connect(f"file:{self.library}/library.db?mode=ro", uri=True, timeout=10)
        try:
            return [row[0] for row in db.execute(sql, params)]
        except sqlite3.Error:
            return []
        finally:
            db.close()

    def note(self, word, status, where):
        with self.lock:
            if status == 0:
                self.acknowledged[word] = where
            elif status is None:
                self.unsure.add(word)

    def write(self, who):
        while not self.stop.is_set():
            kind = self.chance.choice(["add", "note", "note", "label", "label"])
            n = self.next()
            word = f"word{n:06}x"
            other = FAULTS.get(self.hour) == "two machines" and who % 2 == 0
            if kind == "add":
                player = self.chance.choice(PLAYERS)
                file = self.work / f"serve-{n}.csv"
                file.write_text(moved(n))
                day = f"2026-0{1 + n % 6}-{1 + n % 27:02}"
                args = ["add", str(file), "--player", player, "--date", day, "--consent", "share"]
                status, *_ = self.run("add", args, other)
                self.note(f"serve-{n}.csv", status, "file")
                file.unlink()
                continue
            cases = self.ids("SELECT id FROM cases")
            if not cases:
                time.sleep(0.2)
                continue
            case = self.chance.choice(cases)
            if kind == "note":
                args = ["label", f"c{case}", "--note", word, "--coach", f"coach{who}"]
            else:
                fault = self.chance.choice(["toss_low", "shallow_leg_drive", "wild_toss"])
                args = ["label", f"c{case}", "--add", f"{fault}=0.{1 + n % 9}", "--note", word]
                args += ["--coach", f"coach{who}"]
            status, *_ = self.run("label", args, other)
            self.note(word, status, case)

    def read(self, who):
        while not self.stop.is_set():
            with self.lock:
                known = [(word, at) for word, at in self.acknowledged.items() if at != "file"]
            kind = self.chance.choice(["find", "like", "review"])
            if kind == "find" and known:
                word, case = self.chance.choice(known)
                status, out, _ = self.run("find", ["find", word, "--json"])
                if status == 0 and f'"c{case}"' not in out and f"c{case}" not in out:
                    self.wrong.append(f"hour {self.hour}: find {word} does not name c{case}: {out[:300]}")
                continue
            serves = self.ids("SELECT id FROM serves")
            if not serves:
                time.sleep(0.2)
                continue
            serve = self.chance.choice(serves)
            if kind == "review":
                page = self.work / f"review-{who}.html"
                status, *_ = self.run("review", ["review", f"s{serve}", "-o", str(page)])
                if status == 0 and "</html>" not in page.read_text():
                    self.wrong.append(f"hour {self.hour}: a review that was cut off")
                continue
            before = set(serves)
            status, out, _ = self.run("like", ["like", f"s{serve}", "--json"])
            after = set(self.ids("SELECT id FROM serves"))
            if status == 0:
                named = [one.get("serve") for one in lines(out) if "serve" in one]
                named = [int(str(one).lstrip("s")) for one in named if one is not None]
                foreign = [one for one in named if one not in before | after]
                if foreign or (len(before) > 1 and not named):
                    self.wrong.append(f"hour {self.hour}: like s{serve} names {named}")

    def look_after(self):
        while not self.stop.is_set():
            status, out, err = self.run("verify", ["verify"])
            said = out + err
            if status is not None and status != 0 and re.search(r"is damaged|malformed|library.db:.*checksum", said):
                self.wrong.append(f"hour {self.hour}: verify: {said[-500:]}")
            self.stop.wait(0.5)

    def open_page(self):
        env = {**os.environ, "PRECEDENT_LIBRARY": str(self.library)}
        child = subprocess.Popen(
            self.command(["page", "--no-open", "--coach", "page"]), env=env, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True,
        )
        with self.lock:
            self.running.add(child)
        address = child.stdout.readline().strip()
        if not address.startswith("http://"):
            child.kill()
            child.wait()
            return None
        host, path = address.removeprefix("http://").split("/", 1)
        asked = http.client.HTTPConnection(host, timeout=30)
        asked.request("GET", f"/{path}")
        cookie = asked.getresponse().getheader("set-cookie").split(";")[0]
        return child, host, cookie

    def at_the_page(self):
        page = None
        while not self.stop.is_set():
            try:
                page = page or self.open_page()
                if page is None:
                    self.stop.wait(1)
                    continue
                child, host, cookie = page
                head = {"cookie": cookie, "origin": f"http://{host}"}
                asked = http.client.HTTPConnection(host, timeout=30)
                asked.request("GET", "/", headers=head)
                answer = asked.getresponse()
                answer.read()
                self.counts["page read", answer.status] += 1
                cases = self.ids("SELECT id FROM cases")
                if cases:
                    word, case = f"word{self.next():06}x", self.chance.choice(cases)
                    head["content-type"] = "application/x-www-form-urlencoded"
                    body = urllib.parse.urlencode({"note": word})
                    asked = http.client.HTTPConnection(host, timeout=30)
                    with self.lock:
                        self.unsure.add(word)
                    asked.request("POST", f"/case/c{case}/judge", body, head)
                    answer = asked.getresponse()
                    said = answer.read().decode(errors="replace")
                    self.counts["page change", answer.status] += 1
                    if answer.status == 303:
                        with self.lock:
                            self.unsure.discard(word)
                            self.acknowledged[word] = case
                    elif not self.explained(said):
                        self.wrong.append(f"hour {self.hour}: page {answer.status}: {text_of(said)[:300]}")
            except (OSError, http.client.HTTPException):
                # Killed in the middle; what was asked may be there or not.
                self.counts["page", "gone"] += 1
                page = None
        with self.lock:
            if page:
                page[0].kill()
                page[0].wait()

    def kill(self):
        while not self.stop.is_set():
            self.stop.wait(self.chance.uniform(0.05, 0.9))
            with self.lock:
                if self.running and self.chance.random() < 0.7:
                    child = self.chance.choice(sorted(self.running, key=lambda one: one.pid))
                    self.running.discard(child)
                    try:
                        os.killpg(child.pid, signal.SIGKILL)
                        self.counts["kills", ""] += 1
                    except ProcessLookupError:
                        pass

    # --- the day

    def begin_fault(self):
        fault = FAULTS.get(self.hour)
        if not self.root:
            return
        if fault == "full disk":
            try:
                with open(self.disk / "ballast", "wb", buffering=0) as ballast:
                    while ballast.write(b"\0" * (1 << 16)):
                        pass
            except OSError:
                pass
        if fault == "read-only disk":
            # The system refuses while somebody writes, so whoever does is killed first.
            self.go.clear()
            for _ in range(100):
                with self.lock:
                    for child in self.running:
                        os.killpg(child.pid, signal.SIGKILL)
                    self.running.clear()
                time.sleep(0.1)
                done = subprocess.run(["mount", "-o", "remount,ro", str(self.disk)], capture_output=True)
                if done.returncode == 0:
                    self.counts["disk made read-only", ""] += 1
                    break
            self.go.set()

    def end_fault(self):
        if self.root:
            subprocess.run(["mount", "-o", "remount,rw", str(self.disk)], capture_output=True, check=True)
            (self.disk / "ballast").unlink(missing_ok=True)

    def play(self):
        for n, player in enumerate(PLAYERS[:2]):
            file = self.work / f"first-{n}.csv"
            file.write_text(moved(n + 900000))
            args = ["add", str(file), "--player", player, "--date", "2026-02-03", "--consent", "keep"]
            status, _, err = self.run("add", args, may_be_killed=False)
            assert status == 0, err
        people = [threading.Thread(target=self.write, args=[n]) for n in range(3)]
        people += [threading.Thread(target=self.read, args=[n]) for n in range(2)]
        people += [threading.Thread(target=one) for one in (self.look_after, self.at_the_page, self.kill)]
        for one in people:
            one.start()
        for self.hour in range(24):
            before = len(self.acknowledged)
            self.begin_fault()
            time.sleep(self.seconds)
            self.end_fault()
            fault = FAULTS.get(self.hour, "")
            print(f"hour {self.hour:2}: {len(self.acknowledged) - before:4} acknowledged  {fault}", flush=True)
        self.hour = 24
        self.stop.set()
        for one in people:
            one.join()

    def judge(self):
        """What was acknowledged is there, and what is derived answers as if it were new."""
        status, out, err = self.run("verify", ["verify"], may_be_killed=False)
        if status != 0:
            self.wrong.append(f"in the end verify says: {(out + err)[-800:]}")
        db = sqlite3.connect(self.library / "library.db")
        integrity = db.execute("PRAGMA integrity_check").fetchone()[0]
        if integrity != "ok":
            self.wrong.append(f"SQLite's own check: {integrity}")
        notes = dict(db.execute("SELECT text, case_id FROM case_notes"))
        files = {name for (name,) in db.execute("SELECT file_name FROM recordings")}
        lost = [
            word for word, at in self.acknowledged.items()
            if (word not in files if at == "file" else notes.get(word) != at)
        ]
        if lost:
            self.wrong.append(f"acknowledged and lost: {lost}")
        came = sum(1 for word in self.unsure if word in notes or word in files)
        serves = [one for (one,) in db.execute("SELECT id FROM serves")]
        half = db.execute(
            "SELECT count(*) FROM recordings r WHERE NOT EXISTS (SELECT 1 FROM serves s WHERE s.recording = r.id)"
        ).fetchone()[0]
        if half:
            self.wrong.append(f"{half} recordings without their serves")
        db.close()
        asked = [["like", f"s{one}", "--json"] for one in serves[:: max(1, len(serves) // 12)]]
        asked += [["find", word, "--json"] for word in list(self.acknowledged)[-5:] if word.startswith("word")]
        answers = [self.run("asked", args, may_be_killed=False)[1] for args in asked]
        self.run("rebuilt", ["verify", "--rebuild"], may_be_killed=False)
        for args, answer in zip(asked, answers):
            anew = self.run("asked", args, may_be_killed=False)[1]
            if named(anew) != named(answer):
                self.wrong.append(f"{args} answered {answer[:300]}, and once built anew {anew[:300]}")
        return len(serves), came, len(asked)

    def close(self):
        if self.root:
            subprocess.run(["umount", str(self.disk)], check=False)
        shutil.rmtree(self.work, ignore_errors=True)


def repr_sh(text):
    return "'" + text.replace("'", "'\\''") + "'"


def moved(n):
    """The serve of the seeds, its player standing elsewhere, so that it is another recording."""
    rows = SERVE.read_text().splitlines()
    head = next(at for at, row in enumerate(rows) if row.startswith("time_s"))
    columns = rows[head].split(",")
    out = rows[: head + 1]
    for row in rows[head + 1 :]:
        cells = row.split(",")
        for at, name in enumerate(columns):
            if name.endswith("_x") and cells[at]:
                cells[at] = f"{float(cells[at]) + n * 0.0001:.4f}"
        out.append(",".join(cells))
    return "\n".join(out) + "\n"


def lines(text):
    return [json.loads(line) for line in text.splitlines() if line.startswith("{")]


def named(answer):
    """What an answer names, without how well its words fit: that is reckoned over what is being replaced, too."""
    drop = {"score"}
    return sorted(json.dumps({k: v for k, v in one.items() if k not in drop}) for one in lines(answer))


def text_of(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", html))


def main():
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    program = str(Path(sys.argv[1]).resolve())
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 8
    day = Day(program, seconds, int(sys.argv[3]) if len(sys.argv) > 3 else 1)
    began = time.monotonic()
    try:
        day.play()
        serves, came, asked = day.judge()
        print(f"\nplayed in {time.monotonic() - began:.0f} s; {'root' if day.root else 'not root: no disk faults'}"
              f"{'' if day.faketime else '; no faketime: no clock steps'}")
        print(f"acknowledged: {len(day.acknowledged)}; {len(day.unsure)} cut off in the middle, {came} of them came in whole")
        print(f"serves: {serves}; {asked} answers the same after building anew")
        for (kind, status), n in sorted(day.counts.items(), key=str):
            print(f"  {kind} {status}: {n}")
        print("longest, seconds:", {kind: round(s, 1) for kind, s in sorted(day.latest.items())})
        print("refused:")
        for (hour, kind, line), n in sorted(day.refusals.items()):
            print(f"  hour {hour} {kind} x{n}: {line}")
        print("WRONG:" if day.wrong else "nothing was lost, no answer was wrong")
        for one in day.wrong:
            print("  " + one)
        sys.exit(1 if day.wrong else 0)
    finally:
        day.close()


if __name__ == "__main__":
    main()
