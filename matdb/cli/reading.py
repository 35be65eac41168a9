"""``matdb reading``: what was read at the bench; nothing of it is ever overwritten."""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, Final

from matdb.advice.surprise import MENDS, all_doubts
from matdb.api import Store
from matdb.bench.readings import Reading, reading_fields
from matdb.bench.thermal.soak import actual_temperatures, bench_state, soak_not_told
from matdb.cli import options, reading_add
from matdb.cli.options import Call, Group, arg, opt, option, option_of, values_of, with_fields
from matdb.cli.paging import Paged
from matdb.cli.screen import Column, Progress, given_text, lines, records_table, show
from matdb.delimited import Table, file_bytes
from matdb.errors import InputError
from matdb.exchange.reading_file import ReadingFile, read_readings
from matdb.exchange.spreadsheet import is_spreadsheet, read_spreadsheet
from matdb.fields import FieldInfo, record_fields
from matdb.form.part import Part
from matdb.units import counted

app = Group("Readings: log, list, correct, import.")
app.add_typer(reading_add.app, name="add")
app.command("trace", short_help="Read frequency and damping from a record.")(reading_add.trace)

NumberArgument = Annotated[int, arg("NUMBER", "The reading's number.")]
WhyOption = Annotated[str, opt("--why", "TEXT", "The reason; it is kept.")]


@app.command("list")
def list_(
    call: Paged,
    material: str | None = option("NAME", "Only readings of this material and its parts."),
    part: options.ReadPartOption = None,
    kind: options.KindOption = None,
    retired: options.RetiredOption = False,
    before: int | None = option("NUMBER", "Only readings before this one."),
) -> None:
    """List readings.

    The newest, in the order of their numbers.
    """
    those: dict[str, Any] = {"material": material, "part": part, "kind": kind, "include_retired": retired}
    newest = call.done(lambda kept: kept.records.newest_readings(**those, most=call.most(), before=before), asks=True)
    found, more = call.page(newest, newest=True)
    first = found[0].id if more else None

    def screen() -> None:
        if more:
            those_of = counted(len(found), "readings")
            which = f"the newest {those_of}" if before is None else f"{those_of} before {before}"
            show(f"{which}; for those before add: --before {first}", wrap=False)
        asked = any(each is not None for each in (material, part, kind, before))
        empty = "no such reading" if asked else "no reading; log one with 'matdb reading add'"
        records_table(found, _COLUMNS if part is None else _OF_PART, empty=empty)

    call.answer({"readings": found, "next_before": first}, screen)


def _of_reading(reading_in: Callable[[Any], Reading]) -> list[Column]:
    """What a row of a table says of the reading in it."""
    return [
        Column("kind", lambda row: reading_in(row).kind),
        Column("on", lambda row: str(getattr(reading_in(row), reading_in(row).subject))),
        Column("at degC", lambda row: given_text(reading_in(row).temperature_c), right=True),
        Column("figures", lambda row: figures_of(reading_in(row))),
    ]


_COLUMNS: Final = (
    Column("reading", lambda each: str(each.id), right=True),
    *_of_reading(lambda each: each.reading),
    Column("taken", lambda each: f"{each.reading.taken_at:%Y-%m-%d}" if each.reading.taken_at else ""),
    Column("who", lambda each: each.reading.who),
    Column("session", lambda each: each.reading.session or ""),
    Column("note", lambda each: "; ".join(filter(None, (each.retired_why, each.reading.note)))),
)


#: Of one part a line each: the figures tell the kind, and who and why stands in the long list.
_OF_PART: Final = (
    Column("no.", lambda each: f"{each.id}" + " retired" * (not each.active), right=True),
    Column("degC", lambda each: given_text(each.reading.temperature_c), right=True),
    Column("read", lambda each: figures_of(each.reading, ("figure", "load", "mount", "record"))),
    Column("session", lambda each: each.reading.session or ""),
    Column("taken", lambda each: f"{each.reading.taken_at:%Y-%m-%d}" if each.reading.taken_at else ""),
)


def _new(each: FieldInfo) -> str:
    """What an option of a correction means; a noun that is a sentence says it all."""
    return f"{each.noun}." if each.noun[0].isupper() else f"New {each.noun}."


_CHANGEABLE: Final = reading_fields()


@app.command()
@with_fields(*(option_of(each, _new(each), optional=True) for each in _CHANGEABLE.values()))
def correct(number: NumberArgument, why: WhyOption, given: dict[str, str | None], call: Call) -> None:
    """Correct a reading.

    For instance: matdb reading correct 5 --part bobbin --squeeze 2turns --why 'wrong part'.

    A new one takes its place; the old one is kept with the reason.
    """
    if not any(text is not None for text in given.values()):
        raise InputError("changes", None, "at least one option that says what to change")
    with call.existing() as kept:
        old = kept.records.reading(number).reading
        said = reading_add.in_mm(call, given, part=getattr(old, "part", None))
        changes = values_of(_CHANGEABLE, said, keep_defaults=True)
        known = record_fields(type(old)).keys() & _CHANGEABLE.keys()
        for name in changes:
            if name not in known:
                allowed = ", ".join(sorted(_CHANGEABLE[each].option for each in known))
                raise InputError(_CHANGEABLE[name].option, given[name], f"an option of a {old.kind}: {allowed}")
        new = replace(old, **changes)
        doubts = reading_add.all_doubts(kept, new)
        successor = kept.correct(number, new, why)
        logged = kept.records.reading(successor)
    text = f"reading {successor} takes the place of reading {number}, which is kept: {_in_short(new)}"
    call.answer({"number": successor, "corrects": number, "reading": logged}, text, doubts)


@app.command()
def remove(number: NumberArgument, why: WhyOption, call: Call) -> None:
    """Let a reading count no more.

    It is kept with the reason.
    """
    with call.existing() as kept:
        kept.remove(number, why)
        retired = kept.records.reading(number)
    text = f"reading {number} counts no more; it is kept: {_in_short(retired.reading)}"
    call.answer({"number": number, "reading": retired}, text)


@app.command("import")
def import_(
    call: Call,
    file: Annotated[str, arg("FILE", "A CSV or XLSX file with one reading a row.")],
    sheet: str | None = option("NAME", "The sheet of an XLSX file; its first without it."),
    dry_run: bool = option(None, "Show what would be logged and every problem; log nothing.", False),
    kind: str | None = option("KIND", "The kind where the file does not say it."),
    part: str | None = option("NAME", "The part where the file does not say it."),
    material: str | None = option("NAME", "The material where the file does not say it."),
    keep_duplicates: bool = option(None, "Log also what the store knows already.", False),
) -> None:
    """Log the readings of a CSV or XLSX file.

    All of them, or none when a row has a problem; every problem is told with its line and column. Headings may
    name units (temp_F, mass_g, frequency [Hz]); semicolons, decimal commas, blank lines and comments are
    understood. Rows that the store knows already are passed over.
    """
    name = Path(file).name
    read, warnings = _table_of(file, sheet)
    defaults = {k: v for k, v in (("kind", kind), ("part", part), ("material", material)) if v is not None}
    with call.existing() as kept, Progress(f"import of {name}") as update:
        parts = kept.records.each_part()
        known: dict[str, Any] = {"parts": parts, "materials": kept.records.names("material")}
        known["known"] = functools.partial(_logged, kept)
        how: dict[str, Any] = {"defaults": defaults, "keep_duplicates": keep_duplicates}
        found = read_readings(name, read, **known, **how, progress=lambda share: update(0.6 * share))
        odd = [] if found.problem_count else _odd(kept, found, parts, dry_run)
        log = not dry_run and not found.problem_count and bool(found.readings)
        numbers = kept.records.add_readings(_counted(found.readings, update)) if log else []
        warnings += [*odd, *_bench_doubts(kept, found, parts), *_passed_over(found)]

    def screen() -> None:
        lines("Before you rely on it:", warnings)
        for problem in found.problems:
            print(str(problem), file=sys.stderr)
        if found.problem_count > len(found.problems):
            print(f"... and {found.problem_count - len(found.problems)} more", file=sys.stderr)
        if found.problem_count:
            return
        if dry_run:
            _preview(found)
            show(f"{len(found.readings)} readings would be logged; nothing was, for this was a dry run")
        else:
            show(f"logged {len(numbers)} readings from {file}")

    content = {
        "file": file,
        "dry_run": dry_run,
        "logged": len(numbers),
        "numbers": numbers,
        "would_log": 0 if found.problem_count else len(found.readings),
        **{name: getattr(found, name) for name in ("duplicates", "problem_count", "problems")},
    }
    call.answer(content, screen, warnings)
    if found.problem_count:
        problems = counted(found.problem_count, "problems")
        cure = "nothing was logged; correct the file and import it again"
        raise InputError(file, problems, "a file without any", cure, says=problems)


def _logged(kept: Store, subject: str, name: str) -> Iterator[Reading]:
    """What counts already on a part, or on a material itself."""
    on: dict[str, Any] = {subject: name}
    there = (each.reading for each in kept.records.each_reading(**on))
    return (reading for reading in there if reading.subject == subject)


def _table_of(file: str, sheet: str | None) -> tuple[bytes | Table, list[str]]:
    """The content of a file to import, and what it holds besides."""
    raw = file_bytes(Path(file).expanduser())
    if not is_spreadsheet(raw):
        if sheet is not None:
            raise InputError("--sheet", sheet, "left out for a file that is no XLSX workbook")
        return raw, []
    table, others = read_spreadsheet(Path(file).name, raw, sheet=sheet)
    if not others or sheet is not None:
        return table, []
    more = ", ".join(others[:10])
    return table, [f"only the first sheet was read; {len(others)} more: {more}; name one with --sheet"]


def _passed_over(found: ReadingFile) -> list[str]:
    """What an import made of rows that say nothing new."""
    told = (
        (found.duplicates, "are in the store already and were passed over", "--keep-duplicates logs them again"),
        (found.repeated, "repeat an earlier row of the file", "each counts as a reading of its own"),
    )
    return [f"{len(rows)} rows {what} (lines {_some(rows)}); {so}" for rows, what, so in told if rows]


#: Readings of a file that are held against the fit, and the doubtful ones that are told.
_MOST_COMPARED = 2000
_MOST_TOLD = 10


def _by_material(found: ReadingFile, parts: Mapping[str, Part]) -> dict[str, list[int]]:
    """Places of a file's readings by material."""
    of_material: dict[str, list[int]] = {}
    for k, reading in enumerate(found.readings):
        on = getattr(reading, reading.subject)
        of_material.setdefault(parts[on].material if reading.subject == "part" else on, []).append(k)
    return of_material


def _odd(kept: Store, found: ReadingFile, parts: Mapping[str, Part], dry_run: bool) -> list[str]:
    """What the newest fit says against readings of a file, a line each; of a long file, against some of them."""
    fitted = {m: ks for m, ks in _by_material(found, parts).items() if kept.records.newest_fit(m) is not None}
    total = sum(map(len, fitted.values()))
    said: list[tuple[int, str]] = []
    compared = 0
    for material, which in fitted.items():
        # Of each material its share, spread evenly over the file.
        most = min(len(which), max(_MOST_COMPARED * len(which) // total, 1))
        some = [which[i * len(which) // most] for i in range(most)]
        compared += most
        doubts = all_doubts(kept.curve(material), parts, [found.readings[k] for k in some])
        # What is not logged yet is mended in the file.
        plain = [[text.removesuffix(MENDS * dry_run) for text in texts] for texts in doubts]
        said += [(found.lines[k], "; ".join(texts)) for k, texts in zip(some, plain, strict=True) if texts]
    said.sort()
    lines = [f"line {line}: {text}" for line, text in said[:_MOST_TOLD]]
    if len(said) > _MOST_TOLD:
        lines.append(f"and {len(said) - _MOST_TOLD} more that the newest fit does not expect")
    if compared < total:
        lines.append(f"only {compared} of {total} readings, spread evenly, were held against the newest fit")
    return lines


def _bench_doubts(kept: Store, found: ReadingFile, parts: Mapping[str, Part]) -> list[str]:
    """How many readings soak and drift move by more than 1 K, and the worst of them in words."""
    moved: list[tuple[float, int, str]] = []
    untold: list[tuple[int, str]] = []
    for material, which in _by_material(found, parts).items():
        family = kept.material(material).family
        at, _ = actual_temperatures([found.readings[k] for k in which], parts, family)
        far = [(abs(t - found.readings[k].temperature_c), k, family) for t, k in zip(at.tolist(), which, strict=True)]
        moved += [each for each in far if each[0] > 1.0]
        untold += [(found.lines[k], text) for k in which if (text := soak_not_told(family, found.readings[k]))]
    asked = [f"line {untold[0][0]}: {untold[0][1]}"] if untold else []
    if len(untold) > 1:
        asked[0] += f"; the same of {len(untold) - 1} more"
    if not moved:
        return asked
    _, k, family = max(moved)
    said = bench_state(found.readings[k], parts[getattr(found.readings[k], "part")], family).warnings  # noqa: B009
    worst = f"; the worst, line {found.lines[k]}: {said[0]}" if said else f"; the farthest is line {found.lines[k]}"
    many = "1 reading was" if len(moved) == 1 else f"{len(moved)} readings were"
    told = f"{many} more than 1 K off its chamber by a short soak or by time outside; fits correct for it{worst}"
    return [told, *asked]


def _preview(found: ReadingFile) -> None:
    shown = list(zip(found.lines, found.readings, strict=True))[:20]
    if shown:
        records_table(shown, [Column("line", lambda row: str(row[0]), right=True), *_of_reading(lambda row: row[1])])
    if len(found.readings) > len(shown):
        show(f"... and {len(found.readings) - len(shown)} more")


def _counted(readings: list[Any], update: Any) -> Any:
    for index, reading in enumerate(readings):
        if index % 500 == 0:
            update(0.6 + 0.4 * index / len(readings))
        yield reading


def _in_short(reading: Reading) -> str:
    return f"{reading.kind} on {getattr(reading, reading.subject)}, {figures_of(reading)}"


def _some(numbers: list[int]) -> str:
    return ", ".join(map(str, numbers[:10])) + (", ..." if len(numbers) > 10 else "")


def figures_of(reading: Reading, groups: Sequence[str] = ("figure", "load", "mount", "record")) -> str:
    """What was read, in one cell: the figures, the load, how the part was mounted, how it was warmed or cooled."""
    shown = [each for each in record_fields(type(reading)).values() if each.shown and each.group in groups]
    parts = []
    for each in sorted(shown, key=lambda each: groups.index(each.group)):
        value = getattr(reading, each.name)
        if value is None or (each.group == "mount" and value == each.default):
            continue
        text = value if isinstance(value, str) else given_text(value * 1e3 if each.name == "mass_kg" else value)
        parts.append(each.shown.format(text, count=getattr(reading, "count", 1)))
    return ", ".join(parts)
