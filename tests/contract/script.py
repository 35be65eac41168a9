"""Recorded scripts: commands with all that they said, in one text file a family.

A recording is both the question and the answer. ``$ matdb …`` is a command, ``< …`` after it a line typed in, ``;; …``
before it a comment; below stand the exit code when it is not 0, the screen, the error stream (``! …``) and every file
that the command wrote (``--- name``). ``$ dump`` tells what lies in the store, ``$ use FILE`` names another one.
``;; within 4 %`` after a command is the bound of its numbers, where a fit is made anew or a natural frequency is solved
(two solvers agree to what both converge to); otherwise 1e-9 holds.
"""

import contextlib
import datetime
import hashlib
import io
import json
import math
import os
import re
import shlex
import sqlite3
import sys
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

import matdb
import matdb.__main__

HERE = Path(__file__).parent
RECORDED = HERE / "recorded"
INPUTS = HERE / "inputs"
WRITE = bool(os.environ.get("MATDB_WRITE_CONTRACT"))
#: The version that made the fits of the recorded store.
FITTED_BY = "0.1.0"
REL, ABS = 1e-9, 1e-12
#: Numbers known more coarsely than this may take more or less room on the screen.
LAYOUT = 1e-2
NUMBER = re.compile(r"(?<![\w.])[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?(?![\w.]*[A-Za-z]\d)")
_RUN = re.compile(r"(?:[-+]?\d[\d.eE+-]*[\s,\[\]MLQCZzHV]+){60,}[-+]?\d[\d.eE+-]*")
_CODE = re.compile(r"[A-Za-z0-9+/=]{200,}")
_TIME = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?)?(?:Z|\+00:00)?(?: UTC)?")


@dataclass
class Step:
    """One command of a script and what it said."""

    command: str
    typed: list[str] = field(default_factory=list)
    before: list[str] = field(default_factory=list)
    said: str = ""

    @property
    def words(self):
        return shlex.split(self.command.partition(";;")[0])

    @property
    def bound(self):
        found = re.search(r";; within ([\d.]+) %", self.command)
        return float(found[1]) / 100 if found else None

    def text(self, said):
        lines = [*self.before, f"$ {self.command}", *(f"< {line}" for line in self.typed), said]
        return "\n".join(lines).rstrip() + "\n"


def read(file):
    """The steps of a recording."""
    steps, before = [], []
    for line in file.read_text(encoding="utf-8").split("\n"):
        if line.startswith("$ "):
            steps.append(Step(line[2:], before=before))
            before = []
        elif line.startswith(";; "):
            before.append(line)
        elif line.startswith("< ") and steps and not steps[-1].said:
            steps[-1].typed.append(line[2:])
        elif steps:
            steps[-1].said += line + "\n"
    for step in steps:
        step.said = step.said.rstrip()
    return steps


def write(file, steps, answers):
    file.write_text("\n".join(step.text(said) for step, said in zip(steps, answers, strict=True)), encoding="utf-8")


class Desk:
    """A folder with a store in it, in which the commands of a script run one after the other."""

    def __init__(self, folder):
        self.folder = folder
        self.store = "demo.sqlite"
        self.known = self._files()

    def _files(self):
        skipped = (".sqlite", ".sqlite-wal", ".sqlite-shm")
        return {
            str(path.relative_to(self.folder)): path.read_bytes()
            for path in sorted(self.folder.rglob("*"))
            if path.is_file() and not path.name.endswith(skipped) and "state" not in path.parts
        }

    def run(self, step):
        """What a step says, as it is recorded."""
        words = step.words
        if words[0] == "dump":
            return normal(dump(words[1] if words[1:] else self.store), self.folder)
        if words[0] == "use":
            self.store = os.environ["MATDB_STORE"] = words[1]
            return ""
        assert words[0] == "matdb", step.command
        code, out, err = command(words[1:], step.typed)
        parts = [f"exit {code}"] if code else []
        parts += [out.rstrip("\n")] if out else []
        parts += [f"! {line}" for line in err.splitlines()]
        now = self._files()
        for name in [n for n in now if self.known.get(n) != now[n]]:
            parts += [f"--- {name}", _file_text(name, now[name])]
        self.known = now
        return normal("\n".join(parts), self.folder).rstrip()


def command(words, typed=()):
    """Exit code, screen and error stream of a command, asked through the program's own way in."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    argv, stdin = sys.argv, sys.stdin
    sys.argv, sys.stdin = ["matdb", *words], io.StringIO("".join(f"{line}\n" for line in typed))
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = matdb.__main__.main()
    finally:
        sys.argv, sys.stdin = argv, stdin
    return code, *(stream.buffer.getvalue().decode() for stream in (out, err))


def _file_text(name, data):
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return f"<binary, begins {data[:8]!r}>"
    if name.endswith(".json"):
        # The order of an object's names says nothing.
        return json.dumps(json.loads(text), indent=1, sort_keys=True, ensure_ascii=False)
    return svg_outline(text) if name.endswith(".svg") else text


def svg_outline(text):
    """What a picture shows: its words, and every line drawn, without the outlines of letters."""
    text = re.sub(r'<g id="text_\d+">\s*<!-- (.*?) -->.*?</defs>', r"\n== \1\n", text, flags=re.DOTALL)
    text = re.sub(r"<defs>.*?</defs>", "", text, flags=re.DOTALL)
    text = re.sub(r"<metadata>|</metadata>|</?rdf:.*?>|</?cc:.*?>|</?g\b[^>]*>|<use [^>]*>", "", text)
    text = re.sub(
        r' clip-path="[^"]*"|<\?xml.*?<svg', lambda found: "<svg" if found[0][0] == "<" else "", text, flags=re.DOTALL
    )
    # One line a path, so that all of them can be left out where another matplotlib draws.
    text = re.sub(r"<path (.*?)/?>", lambda found: "<path " + " ".join(found[1].split()) + "/>", text, flags=re.DOTALL)
    return re.sub(r"\n\s*\n+", "\n", text)


def without_paths(text):
    """A recording of pictures without what another version of matplotlib draws a little otherwise."""
    return re.sub(r"(?m)^ *<path .*\n|^<svg.*\n", "", text)


def options_sorted(text):
    """A help page with its options by name: their order is for whoever writes them."""
    head, options, rest = text.partition("Options:\n")
    return head + options + "".join(sorted(re.split(r"(?m)^(?=  -)", rest + "\n")))


def dump(path):
    """All of a store's file as SQL; the rows of long tables as sums."""
    with closing(sqlite3.connect(path)) as connection:
        lines, count = [], {}
        for line in connection.iterdump():
            table = re.match(r'INSERT INTO "(\w+)"', line)
            if table:
                count[table[1]] = count.get(table[1], 0) + 1
                if count[table[1]] > 40:
                    continue
            lines.append(line)
        for table, rows in count.items():
            if rows > 40:
                cursor = connection.execute(f"SELECT * FROM {table}")
                columns = list(zip(*cursor, strict=True))
                lines.append(f"-- {table}: {rows} rows")
                for (name, *_), values in zip(cursor.description, columns, strict=True):
                    lines.append(f"--   {name}: {_digest_of_column(values)}")
    return "\n".join(lines)


def _digest_of_column(values):
    numbers = [v for v in values if isinstance(v, (int, float))]
    if numbers:
        return f"{len(numbers)} numbers, {_digest_of_numbers(numbers)}"
    texts = [timeless(repr(value)) for value in values]
    return f"{len(set(texts))} different, {hashlib.sha256(repr(texts).encode()).hexdigest()[:12]}x"


def _digest_of_numbers(x):
    size = [abs(v) for v in x]
    ramp = sum(k * v for k, v in enumerate(size, 1)) / sum(range(1, len(x) + 1))
    return (
        f"first {x[0]!r}, last {x[-1]!r}, least {min(x)!r}, most {max(x)!r}, {sum(v < 0 for v in x)} below 0, "
        f"mean size {math.fsum(size) / len(x)!r}, weighted {ramp!r}"
    )


def timeless(text):
    """Text in which every time of these days is called now."""
    today = datetime.date.today()

    def time(found):
        try:
            day = datetime.date.fromisoformat(found[1])
        except ValueError:
            return found[0]
        return "<now>" if abs((day - today).days) <= 2 else found[0]

    return re.sub(r"\b\d{8}T\d{12}Z\b", "<now>", _TIME.sub(time, text))


def normal(text, folder):
    """Text without what must vary: the time of now, the folder, the program's version; long rows of numbers summed."""
    text = text.replace(str(folder), "<folder>")
    for version in (matdb.__version__, FITTED_BY):
        text = text.replace(version, "<version>")

    def numbers(found):
        values = [float(v) for v in re.findall(r"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?", found[0])]
        return f"<{len(values)} numbers: {_digest_of_numbers(values)}>"

    def code(found):
        return f"<{len(found[0])} characters, {hashlib.sha256(found[0].encode()).hexdigest()[:12]}x>"

    text = timeless(text)
    text = _CODE.sub(code, text)
    text = _RUN.sub(numbers, text)
    return re.sub(r"[^\x20-\x7e\n\u00a0-\uffff]", lambda c: f"\\x{ord(c[0]):02x}", text)


def difference(recorded, now, bound=None):
    """The first thing in which two texts differ, or None: numbers to a bound, everything else exactly."""
    if recorded == now:
        return None
    rel, small = bound or REL, ABS
    if bound is not None and bound > LAYOUT:
        small = bound / 10
        recorded, now = (re.sub(r"[─\s]+", " ", text) for text in (recorded, now))
    at = 0
    first, second = list(NUMBER.finditer(recorded)), list(NUMBER.finditer(now))
    ends = [0, 0]
    for a, b in zip(first, second, strict=False):
        if recorded[ends[0] : a.start()] != now[ends[1] : b.start()]:
            break
        x, y = float(a[0]), float(b[0])
        if x != y and not abs(x - y) <= max(rel * max(abs(x), abs(y)), small):
            return _shown(recorded, now, a.start(), b.start())
        ends = [a.end(), b.end()]
    else:
        if len(first) == len(second) and recorded[ends[0] :] == now[ends[1] :]:
            return None
    rest = recorded[ends[0] :], now[ends[1] :]
    at = next((k for k, (c, d) in enumerate(zip(*rest, strict=False)) if c != d), min(map(len, rest)))
    return _shown(recorded, now, ends[0] + at, ends[1] + at)


def _shown(recorded, now, at, at_now):
    line = recorded.count("\n", 0, at) + 1
    parts = [text[max(0, k - 60) : k + 60].replace("\n", "\\n") for text, k in ((recorded, at), (now, at_now))]
    return f"line {line} of the answer\n    recorded: …{parts[0]}…\n    now:      …{parts[1]}…"
