"""What commands share: their options, what the words given to them mean, and the store that they name."""

from __future__ import annotations

import copy
import dataclasses
import functools
import inspect
import math
import os
import re
import sys
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Final, Self, TypeVar, get_type_hints

import numpy as np
import typer

import matdb.advice
from matdb.api import Store, open_store
from matdb.arrays import Array
from matdb.checks import checked_state, printed_like
from matdb.cli.screen import Progress, document, lines, show
from matdb.errors import InputError, NotFound, StoreError
from matdb.exchange.reading_file import value_of
from matdb.exchange.spreadsheet import write_rows
from matdb.fields import FieldInfo
from matdb.form.part import Part
from matdb.form.thread import turns_text
from matdb.material.record import Material, as_sold
from matdb.mounting.record import Mounting
from matdb.store.location import locate
from matdb.units import counted, is_range, listed, parse, parse_list, parse_range

if TYPE_CHECKING:
    import matdb.advice.exposure
    from matdb.advice.exposure import Temperatures


def opt(name: str, metavar: str, text: str, **more: Any) -> Any:
    """An option for an annotation: its name, what stands for its value, its help; ``more`` goes to Typer."""
    return typer.Option(name, metavar=metavar, help=text, **more)


def arg(metavar: str, text: str) -> Any:
    """An argument for an annotation: what stands for it in the help, and the help."""
    return typer.Argument(metavar=metavar, help=text)


StoreOption = Annotated[
    str | None,
    opt("--store", "FILE", "The store: a file or a database URL. Without it, MATDB_STORE, else your own store."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Answer with one JSON document instead of tables.")]
ForceOption = Annotated[bool, typer.Option("--force", help="Replace a file that is there already.")]
NoteOption = Annotated[str, opt("--note", "TEXT", "Free text.")]

_SEVERAL: Final = "May be given several times."
MaterialArgument = Annotated[str, arg("MATERIAL", "The material's name.")]
TempsOption = Annotated[
    list[str],
    opt(
        "--temp", "TEMPERATURE", "A temperature such as -5C, 23F or -5C,21C, or a range such as -20C..50C. " + _SEVERAL
    ),
]
StepOption = Annotated[str, opt("--step", "KELVIN", "Step within a range of temperatures, such as 5K.")]
FrequenciesOption = Annotated[
    list[str] | None,
    opt("--frequency", "FREQUENCY", "A frequency such as 30Hz, or a range such as 1Hz..100Hz. " + _SEVERAL),
]
CountOption = Annotated[int, opt("--count", "NUMBER", "How many equal parts share the mass.")]
AxisOption = Annotated[str, opt("--axis", "AXIS", "Direction of the part: axial, shear, radial or lateral.")]
ReadPartOption = Annotated[str | None, opt("--part", "NAME", "Only readings on this part.")]
KindOption = Annotated[str | None, opt("--kind", "KIND", "Only this kind, such as ring-down.")]
RetiredOption = Annotated[bool, typer.Option("--all", help="Also readings that were corrected or removed.")]
AtHandOption = Annotated[
    str | None,
    opt(
        "--temps",
        "TEMPERATURES",
        "Temperatures that you can hold, such as -18C,5C,23C; freezer, refrigerator, room and oven without it.",
        envvar="MATDB_TEMPS",
    ),
]
CsvOption = Annotated[str | None, opt("--csv", "FILE", "Also write the rows to this CSV file.")]

# -- records of options ---------------------------------------------------------------------------------------------


_Command = TypeVar("_Command", bound=Callable[..., None])
_Answer = TypeVar("_Answer")

#: The default of an option that must be given.
NEEDED: Final = dataclasses.MISSING


def option(metavar: str | None, text: str, default: Any = None, name: str = "", **more: Any) -> Any:
    """An option: the default of a parameter of a command, or of a field of a record of options.

    Parameters
    ----------
    metavar : str or None
        What stands for its value in the help; None for a flag.
    text : str
        The help.
    default : object
        Without the option; :data:`NEEDED` where it must be given.
    name : str
        The option, where it is not called as the parameter or field is.
    **more
        Goes to Typer.
    """
    names = {"names": (name,)} if name else {}
    return dataclasses.field(default=default, metadata={"metavar": metavar, "help": text, **names, **more})


class Group(typer.Typer):
    """Commands of one group; each may take records, see :func:`collects`."""

    def __init__(self, text: str | None = None, **more: Any) -> None:
        more |= {"help": text, "rich_markup_mode": None, "add_completion": False, "pretty_exceptions_enable": False}
        super().__init__(**more)

    def command(self, *args: Any, **more: Any) -> Callable[[_Command], _Command]:
        """As Typer has it."""
        add = super().command(*args, **more)

        def added(function: _Command) -> _Command:
            add(collects(function))
            return function

        return added


def collects(command: Callable[..., None], fields: Sequence[inspect.Parameter] = ()) -> Callable[..., None]:
    """Let a command take records: Typer sees what is in them as options of the command itself.

    A parameter, or a field of a dataclass, is annotated as Typer has it, or made by :func:`option`. What ``fields`` say
    (see :func:`with_fields`) reaches the command's ``given`` as one mapping. The help has the options of a
    :class:`Place` last, wherever the command takes it.
    """
    taken = inspect.signature(command, eval_str=True).parameters
    groups: dict[str, tuple[Any, Sequence[inspect.Parameter]]] = {}
    for name, p in taken.items():
        if dataclasses.is_dataclass(p.annotation):
            hints = get_type_hints(p.annotation, include_extras=True)
            of = [_keyword(f.name, hints[f.name], f) for f in dataclasses.fields(p.annotation)]
            groups[name] = p.annotation, of
    if fields:
        groups["given"] = dict, fields
    shown: list[inspect.Parameter] = []
    for name in sorted(taken, key=lambda name: name in groups and issubclass(groups[name][0], Place)):
        p = taken[name]
        shown += groups[name][1] if name in groups else (_keyword(name, p.annotation, p.default),)

    @functools.wraps(command)
    def collected(**values: Any) -> None:
        made = {name: make(**{p.name: values.pop(p.name) for p in of}) for name, (make, of) in groups.items()}
        command(**values, **made)

    collected.__signature__ = inspect.Signature(shown)  # type: ignore[attr-defined]
    return collected


def answered(command: Callable[..., None], **given: Any) -> None:
    """Answer as a command does without options but these, by the names of its parameters."""
    collected = collects(command)
    collected(**{name: p.default for name, p in inspect.signature(collected).parameters.items()} | given)


def _keyword(name: str, hint: Any, default: Any = inspect.Parameter.empty) -> inspect.Parameter:
    """A parameter as Typer takes it; its default may be a field of a record, also one made by :func:`option`."""
    if isinstance(default, dataclasses.Field):
        about = dict(default.metadata)
        if about:
            hint = Annotated[hint, typer.Option(*about.pop("names", ("--" + name.replace("_", "-"),)), **about)]
        default = inspect.Parameter.empty if default.default is NEEDED else default.default
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=hint)


def argument_of(each: FieldInfo) -> inspect.Parameter:
    """A field as a needed word of a command."""
    return _keyword(each.name, Annotated[str, arg(each.name.upper(), each.help)])


def option_of(each: FieldInfo, words: str | None = None, *, optional: bool = False) -> inspect.Parameter:
    """A field as an option.

    Parameters
    ----------
    each : FieldInfo
        The field.
    words : str, optional
        The option's help, instead of the field's own.
    optional : bool
        Take None for "not said", whatever the field has by default.
    """
    about = opt(each.option, each.metavar, each.help if words is None else words)
    if each.needed and not optional:
        return _keyword(each.name, Annotated[str, about])
    default = each.default if isinstance(each.default, int | str) and not optional else None
    kind: Any = str | None if default is None else type(default)
    return _keyword(each.name, Annotated[kind, about], default)


def with_fields(*parameters: inspect.Parameter) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Decorate a command as :func:`collects` does; these parameters stand where its own ``given`` does."""
    return functools.partial(collects, fields=parameters)


def values_of(
    known: Mapping[str, FieldInfo], given: Mapping[str, Any], *, keep_defaults: bool = False
) -> dict[str, Any]:
    """Texts of options to the values of fields; what was not said, or is as by default, is left out.

    Raises
    ------
    UnitError, InputError
        A text that cannot be read as its field.
    """
    values = {}
    for name, text in given.items():
        each = known[name]
        if text is None or (text == each.default and not keep_defaults):
            continue
        # Free text is taken as it is; only files carry guarded cells.
        value = text if each.dimension in ("name", "text") else value_of(each, str(text), each.option)
        if value is not None:
            values[name] = value
    return values


@dataclass(frozen=True)
class Place:
    """On which store a command works."""

    ctx: typer.Context
    store: StoreOption = None

    @property
    def store_name(self) -> str | None:
        """The store that the user named: after the command, before it, or in MATDB_STORE."""
        return self.own_store or os.environ.get("MATDB_STORE") or None

    @property
    def own_store(self) -> str | None:
        """The store that the command line named."""
        return self.store or self.ctx.find_root().params.get("store") or None

    def opened(self, *, as_fitted: bool = False) -> Store:
        """Open the store, made where there is none; what takes time or changes it is said on the error stream.

        For a ``with`` block. Raises as :func:`matdb.api.open_store`.
        """
        once = functools.cache(note)
        waits = "another program is writing to the store; trying again until that ends, for 30 s at most"
        old = as_fitted or getattr(self, "as_fitted", False)
        found = open_store(self.store_name, on_wait=lambda _: once(waits), as_fitted=old, on_fit=_fitting())
        done = found.records.upgraded
        if done is not None:
            copy = f"as it was, it lies in {done.copy}"
            note(f"the store was upgraded from schema {done.before} to {done.after}; {copy}")
        return found

    def existing(self, **more: bool) -> Store:
        """Open a store that must be there already: a question must not make one.

        Raises
        ------
        StoreError
            There is none, or it refuses.
        """
        if self.missing:
            raise StoreError(self.missing, "there is none; look at the name, or make one with 'matdb material add'")
        return self.opened(**more)

    @property
    def missing(self) -> str:
        """The store while its file is not there, for messages; empty where it is."""
        place = locate(self.store_name)
        return place.shown if place.path is not None and not place.path.exists() else ""

    def done(self, work: Callable[[Store], _Answer], *, asks: bool = False) -> _Answer:
        """What a work on the store answers.

        Where there is none the work is tried on another: neither what is refused nor what only ``asks`` makes one.
        """
        if self.missing:
            with tempfile.TemporaryDirectory() as folder, open_store(os.path.join(folder, "store.sqlite")) as trial:
                try:
                    answer = work(trial)
                except StoreError as error:
                    raise type(error)(self.missing, error.why) from None
            if asks:
                return answer
        with self.opened() as store:
            return work(store)


@dataclass(frozen=True)
class Call(Place):
    """How a command was called: on which store, and whether a program reads the answer."""

    as_json: JsonOption = False

    def answer(
        self, content: Mapping[str, Any], screen: Callable[[], None] | str, warnings: Iterable[str] = ()
    ) -> None:
        """Print the one JSON document, or what ``screen`` prints; a sentence stands before the warnings."""
        if self.as_json:
            # "matdb reading add" has a command for each kind, which the answer itself tells.
            document(" ".join(self.ctx.command_path.split()[1:3]), content, warnings)
        elif isinstance(screen, str):
            show(screen)
            lines("Before you rely on it:", warnings)
        else:
            screen()

    def added(self, record: Material | Part | Mounting, *, sure: bool = False) -> int:
        """Add a record, warning of a name that prints like another one's. Answers its number; raises as Store.add.

        A part's material that the store lacks is added with it where its name tells family and hardness.
        """

        def add(store: Store) -> tuple[int, Material | None]:
            sold = None
            if isinstance(record, Part) and record.material not in store.records.names("material"):
                sold = as_sold(record.material)
            try:
                number = store.add([*filter(None, [sold]), record], sure=sure)[-1]
            except NotFound as error:
                cure = "add it with 'matdb material add', or say what it is: 'silicone 30A', 'wire rope'"
                raise NotFound(error.kind, error.name, error.near, cure) from None
            printed = printed_like(record.name)
            for name in store.records.names(type(record).__name__.lower()):
                if name != record.name and printed_like(name) == printed:
                    note(f"the name {record.name!r} looks like {name!r} ({record.name!a} and {name!a}): they are two")
            return number, sold

        number, sold = self.done(add)
        if sold is not None:
            label = ", ".join(filter(None, (sold.family, sold.hardness)))
            note(f"added material {sold.name} ({label}), which the store did not have")
        return number


@dataclass(frozen=True)
class Removal(Call):
    """A call that takes a record away, and why."""

    why: str | None = option("TEXT", "The reason, where readings count no more; it is kept.")

    def removed(self, find: Callable[[Store], Material | Part | Mounting]) -> None:
        """Take away what is found in the store, and say so. Raises NotFound, InputError."""
        with self.existing() as store:
            record = find(store)
            try:
                retired = store.remove(record, self.why or "")
            except InputError as error:
                if error.field != "why":
                    raise
                cure = "for instance --why \"wrong part\"; or move them with 'matdb reading correct'"
                raise InputError("--why", self.why, "the reason, where readings count no more", cure) from None
        with_it = f" with its {counted(retired, 'readings')}" if retired else ""
        text = f"removed {record.name}{with_it}; kept, and 'matdb undo' brings it back"
        self.answer({"name": record.name, "retired_readings": retired}, text)


@dataclass(frozen=True)
class Edit(Call):
    """A call that changes a material, part or mounting: under which name, and why."""

    rename: str | None = option("NAME", "Its new name.")
    why: str | None = option("TEXT", "The reason, where figures change; it is kept.")

    def edited(self, kept: Store, old: _Record, **said: Any) -> tuple[_Record, list[str]]:
        """Put a record in the place of another, which is kept: its fields but for what is said and not None.

        Answers the new record and the names of the fields that differ. Raises InputError, AlreadyExists.
        """
        said |= {"name": self.rename}
        new = dataclasses.replace(old, **{field: value for field, value in said.items() if value is not None})
        changed = [f.name for f in dataclasses.fields(old) if getattr(old, f.name) != getattr(new, f.name)]
        if not changed:
            raise InputError("changes", None, "at least one option that says what to change")
        if self.why is None and not {"name", "note", "source"}.issuperset(changed):
            raise InputError("--why", None, "the reason, where figures change", 'for instance --why "measured again"')
        kept.records.replace(old.name, new, self.why or f"edited: {', '.join(changed)}")
        return new, changed


@dataclass(frozen=True)
class Question(Call):
    """A call that asks about materials: where readings are newer than the fit, that is made anew first."""

    as_fitted: bool = option(None, "Answer by the newest fit, even where readings are newer.", False)


def _fitting() -> Callable[[str, float], None]:
    """What says on the error stream that an answer waits for a fit, and how far that is."""
    bars: dict[str, Progress] = {}

    def told(material: str, share: float) -> None:
        if material not in bars:
            note(f"{material} has readings or records newer than its fit; fitting them first")
            bars[material] = Progress(f"fit of {material}")
        bars[material](share)
        if share >= 1.0:
            bars.pop(material).__exit__()

    return told


def note(text: str) -> None:
    """Say something on the error stream at once, also in a pipe."""
    print(f"matdb: {text}", file=sys.stderr, flush=True)


@dataclass(frozen=True, kw_only=True)
class Held:
    """How a part is held."""

    axis: AxisOption = "axial"
    squeeze: str | None = option("LENGTH", "Static squeeze of each part, such as 0.5mm.")
    turns: float | None = option("NUMBER", "The same in turns of the screw past first touch, such as 3.")

    #: By part, the squeeze at which it suits a mounting best, mm.
    best_mm: ClassVar[Mapping[str, float]] = {}

    def under(self, store: Store, mounting: Mounting | str, parts: Sequence[Part], temperature_c: Temperatures) -> Self:
        """Itself, knowing where no squeeze was asked for at which the parts suit a mounting best."""
        known = copy.copy(self)
        if self.squeeze is None and self.turns is None:
            best = store.best_squeezes([each.name for each in parts], mounting, temperature_c, axis=self.axis)
            object.__setattr__(known, "best_mm", best)
        return known

    def parts(self, store: Store, names: Sequence[str] | None) -> list[Part]:
        """The parts that were named, or all that have the direction. Raises NotFound."""
        return list(map(store.part, names)) if names else [p for p in store.parts() if self.axis in p.form.axes]

    def on(self, part: Part) -> tuple[float, str]:
        """Squeeze of a part in mm and where it comes from. Raises as :meth:`matdb.form.part.Part.squeeze_at`."""
        return part.squeeze_at(*squeeze_said(self.squeeze, self.turns), self.best_mm.get(part.name))

    def how(self, part: Part) -> dict[str, Any]:
        """Axis and static squeeze as the library takes them. Raises UnitError, InputError."""
        return {"axis": self.axis, "squeeze_mm": self.on(part)[0]}

    def how_all(self, parts: Sequence[Part]) -> dict[str, Any]:
        """As :meth:`how`, the squeeze of each of several parts. Raises UnitError, InputError."""
        if self.turns is not None and len(parts) > 1:
            raise InputError("--turns", self.turns, "given for one part", "for several give --squeeze")
        return {"axis": self.axis, "squeeze_mm": [self.on(part)[0] for part in parts]}

    def said(self, part: Part) -> str:
        """Which squeeze of a part was used, in one sentence without a full stop; empty for none."""
        mm, source = self.on(part)
        return squeezed_text(part, mm, "" if source == "asked" else source) if mm else ""


@dataclass(frozen=True, kw_only=True)
class HeldFor(Held):
    """How a part is held, perhaps as a mounting holds it best."""

    mounting: str | None = option(
        "NAME", "Take the squeeze that suits this mounting best, unless --squeeze or --turns is given."
    )

    def best(self, store: Store, parts: Sequence[Part], temperature_c: Iterable[float]) -> Self:
        """Itself, knowing the squeeze of parts that is best from the coldest to the warmest of some temperatures."""
        if self.mounting is None:
            return self
        some = sorted(map(float, temperature_c))
        flown = matdb.advice.exposure.flight(low_c=some[0], high_c=some[-1])
        return self.under(store, self.mounting, parts, flown)


@dataclass(frozen=True, kw_only=True)
class HeldAlike:
    """Which parts are compared, and how they are held: each at its best squeeze, or all at one."""

    part: list[str] | None = option("NAME", "Judge only this part. " + _SEVERAL)
    axis: AxisOption = "axial"
    squeeze: str | None = option("LENGTH", "Static squeeze of each part, such as 0.5mm; the best without it.")
    turns: float | None = option("NUMBER", "The same in turns of the screw past first touch, such as 3.")

    def how(self, store: Store) -> dict[str, Any]:
        """Parts, axis and squeeze as the library takes them. Raises UnitError, InputError, NotFound."""
        asked, turns = squeeze_said(self.squeeze, self.turns)
        if turns is not None:
            parts = [store.part(name) for name in self.part] if self.part else store.parts()
            alike = {each.squeeze_at(asked, turns)[0] for each in parts if self.axis in each.form.axes}
            if len(alike) > 1:
                raise InputError("--turns", turns, "given for parts of one thread", "name them with --part")
            asked = alike.pop() if alike else None
        return {"parts": self.part or None, "axis": self.axis, "squeeze_mm": asked}


def squeeze_said(squeeze: str | None, turns: float | None = None) -> tuple[float | None, float | None]:
    """A squeeze in mm, or in turns past first touch: ``0.5mm``, ``3turns``. Raises InputError, UnitError."""
    found = re.fullmatch(r"\s*(\d+\.?\d*|\.\d+)\s*turns?\s*", squeeze or "")
    if found is None:
        return quantity(squeeze, "length", "--squeeze"), turns
    if turns is not None:
        raise InputError("--turns", turns, "left out beside --squeeze", "give one of the two")
    return None, float(found[1])


def squeezed_text(part: Part, squeeze_mm: float, source: str = "") -> str:
    """How far a part is squeezed, in turns where its thread is known, and where that comes from."""
    turns = part.turns_at(squeeze_mm)
    said = f"{part.name} squeezed by {squeeze_mm:.3g} mm" + ("" if turns is None else f", {turns_text(turns)}")
    return f"{said} ({source})" if source else said


# -- words to numbers -----------------------------------------------------------------------------------------------

#: More states than this in one answer are refused.
_MOST_STATES: Final = 20_000
_PER_DECADE: Final = 5


def quantity(text: str | None, dimension: str, option: str) -> float | None:
    """One quantity in trade units, None for None. Raises UnitError, InputError."""
    return None if text is None else parse(text, dimension, option)


def ends(text: str, dimension: str, option: str) -> tuple[float, float]:
    """Both ends of a range, or a single quantity twice. Raises UnitError, InputError."""
    if (several := listed(text))[1:]:
        raise InputError(option, text, f"one, or a range such as {several[0]}..{several[-1]}")
    return parse_range(text, dimension, option) if is_range(text) else (parse(text, dimension, option),) * 2


def at_hand(temps: str | None) -> dict[str, Any]:
    """Temperatures parted by commas as ``temperatures_c``, degrees Celsius; empty for None. Raises InputError."""
    return {} if temps is None else {"temperatures_c": parse_list(temps, "temperature", "--temps")}


def temperatures(texts: Sequence[str], step: str = "5K") -> Array:
    """Temperatures in degrees Celsius from single ones and ranges, in the order given, each once.

    Raises
    ------
    UnitError, InputError
        A text is neither, or there are too many.
    """
    step_k = parse(step, "temperature_difference", "--step")
    if not step_k > 0.0:
        raise InputError("--step", step, "above 0 K")
    found: list[float] = []
    for text in listed(*texts):
        low, high = ends(text, "temperature", "--temp")
        steps = math.ceil((high - low) / step_k - 1e-9)
        few_states(steps)
        # Whole steps from the lower end, and the upper end itself.
        found.extend(min(low + k * step_k, high) for k in range(steps + 1))
    few_states(len(found))
    return checked_state(np.array(list(dict.fromkeys(round(t, 9) for t in found))), 1.0)[0]


def frequencies(texts: Sequence[str]) -> Array:
    """Frequencies in Hz from single ones and ranges (five to a decade), in the order given, each once.

    Raises
    ------
    UnitError, InputError
        A text is neither, or a frequency is not above 0.
    """
    found: list[float] = []
    for text in listed(*texts):
        low, high = ends(text, "frequency", "--frequency")
        if not low > 0.0:
            raise InputError("--frequency", text if is_range(text) else f"{low:g} Hz", "above 0 Hz")
        steps = max(math.ceil(math.log10(high / low) * _PER_DECADE - 1e-9), 1)
        found.extend(float(f) for f in np.geomspace(low, high, steps + 1))
    return checked_state(23.0, np.array(list(dict.fromkeys(found))))[1]


def few_states(states: int) -> None:
    """Refuse an answer of too many rows. Raises InputError."""
    if states > _MOST_STATES:
        allowed = f"at most {_MOST_STATES} in one answer"
        raise InputError("rows", states, allowed, "take a coarser --step or a shorter range")


def write_answer(csv: str | None, header: Sequence[str], rows: Sequence[Sequence[Any]], force: bool) -> list[str]:
    """Write an answer's rows to the file that the user named, CSV or a workbook; the files written, one or none."""
    return [] if csv is None else [str(write_rows(csv, "answer", header, rows, force=force))]


_Record = TypeVar("_Record", Material, Part, Mounting)


def replaced(kept: Store, what: str, name: str) -> list[dict[str, Any]]:
    """What a material or part said before, with when and why that was replaced."""
    return [dict(zip(("replaced_at", "why", "before"), row, strict=True)) for row in kept.records.history(what, name)]
