"""Every exception that matdb raises on purpose.

The tree, with the built-in each one also is and the exit code the command line gives it::

    MatdbError                          1
    ├── InputError (ValueError)         2   a value that cannot be: names field, value, what is allowed, the cure
    │   └── UnitError                   2   no unit, an unknown one, or one of another dimension
    ├── NotFound (LookupError)          1   no such material, part, reading, fit, mounting
    ├── AlreadyExists (ValueError)      1   the name is taken
    ├── FileTaken (FileExistsError)     1   a file that would be overwritten is there already
    ├── FitError (RuntimeError)         1   the readings cannot be fitted
    ├── MissingExtra (ImportError)      1   an optional package is not installed
    └── StoreError (OSError)            1   the store as a whole refuses
        ├── NotAStore                   1   a file or database that is not a matdb store
        ├── NewerStore                  1   written by a newer matdb
        ├── StoreReadOnly               1   cannot be written, or its folder cannot
        └── StoreBusy                   1   another writer holds it for too long

Each keeps the offending values as attributes, so that a caller need not parse the text.
"""

from __future__ import annotations

import pickle
from collections.abc import Sequence
from typing import Any

#: Longest message, in characters.
_LONGEST = 1000


class MatdbError(Exception):
    """Base of all errors that matdb raises on purpose; ``str(error)`` is one plain line."""

    exit_code = 1
    # What was wrong, with what, what may be, and what to do: as every error tells it that knows.
    field: str = ""
    value: Any = None
    allowed: str = ""
    cure: str = ""

    def __init__(self, text: str = "") -> None:
        super().__init__(plain_line(text))

    def __str__(self) -> str:  # not as OSError has it, which some of them are too
        return str(self.args[0])

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickle by message and attributes: a process pool hands errors over."""
        state = {name: value if _pickles(value) else repr(value) for name, value in vars(self).items()}
        return _unpickled, (type(self), self.args, state)


def error_fields(error: MatdbError, message: str) -> dict[str, Any]:
    """An error as every document has it, its message as it is shown."""
    about = {name: getattr(error, name) for name in ("field", "value", "allowed", "cure")}
    return {"kind": type(error).__name__, "message": message, **about}


def _unpickled(cls: type[MatdbError], args: tuple[object, ...], state: dict[str, object]) -> MatdbError:
    error = cls.__new__(cls)
    error.args = args
    vars(error).update(state)
    return error


def _pickles(value: object) -> bool:
    try:
        pickle.dumps(value)
    except Exception:  # whatever a foreign object raises
        return False
    return True


class InputError(MatdbError, ValueError):
    """A value that cannot be used.

    Attributes
    ----------
    field : str
        The name of the field as the user knows it.
    value : object
        What was given.
    allowed : str
        What is allowed, with units.
    cure : str
        What to do about it; may be empty.

    ``says`` takes the place of the sentence made of value and allowed, where that would not read well.
    """

    exit_code = 2

    def __init__(self, field: str, value: object, allowed: str, cure: str = "", *, says: str = "") -> None:
        self.field, self.value, self.allowed, self.cure = field, value, allowed, cure
        given = "missing" if value is None else f"{_shown(value)} is not allowed"
        line = f"{field}: {says or f'{given}; it must be {allowed}'}"
        super().__init__(f"{line}; {cure}" if cure else line)


class UnitError(InputError):
    """A quantity without a unit, with an unknown unit, or with a unit of another dimension."""


class NotFound(MatdbError, LookupError):
    """No record of that name.

    Attributes
    ----------
    kind, name : str
        What was looked for.
    near : tuple of str
        Names in the store that look alike.
    """

    def __init__(self, kind: str, name: object, near: Sequence[str] = (), cure: str = "") -> None:
        self.kind, self.name, self.near = kind, name, tuple(near)
        self.field, self.value, self.cure = kind, name, cure
        self.allowed = ", ".join(map(str, near)) or "one that is in this store"
        line = f"{kind}: there is no {_shown(name)} in this store"
        if near:
            line += "; close names: " + ", ".join(_shown(n) for n in near)
        super().__init__(f"{line}; {cure}" if cure else line)


class AlreadyExists(MatdbError, ValueError):
    """The name is taken already.

    Attributes
    ----------
    kind, name : str
        What was to be added.
    """

    def __init__(self, kind: str, name: str, cure: str = "choose another name") -> None:
        self.kind, self.name = kind, name
        self.field, self.value, self.allowed, self.cure = kind, name, "a new name", cure
        super().__init__(f"{kind}: {_shown(name)} is in this store already; {cure}")


class FileTaken(MatdbError, FileExistsError):
    """A file is there already and is not overwritten.

    Attributes
    ----------
    file : str
        Its path.
    """

    def __init__(self, file: str, cure: str) -> None:
        self.file = file
        self.field, self.value, self.allowed, self.cure = "file", file, "a new file", cure
        super().__init__(f"file {file}: exists already; {cure}")


class FitError(MatdbError, RuntimeError):
    """The readings of a material cannot be fitted; the message says why.

    Attributes
    ----------
    material : str
        The material's name.
    """

    def __init__(self, material: str, why: str) -> None:
        self.material = material
        self.field, self.value, self.allowed = "material", material, why
        super().__init__(f"fit of {_shown(material)}: {why}")


class MissingExtra(MatdbError, ImportError):
    """An optional package is not installed.

    Attributes
    ----------
    extra : str
        The name of the extra that brings it.
    """

    def __init__(self, what: str, extra: str) -> None:
        self.extra = extra
        self.field, self.value, self.cure = "extra", extra, f"pip install 'elastomer-matdb[{extra}]'"
        super().__init__(f"{what} needs an optional package; install it with: {self.cure}")


class StoreError(MatdbError, OSError):
    """The store as a whole refuses.

    Attributes
    ----------
    where : str
        The store's path or address, without any password.
    why : str
        What is wrong and what to do: the message without the address.
    """

    def __init__(self, where: str, why: str) -> None:
        self.where, self.why = where, why
        self.field, self.value, self.cure = "store", where, why
        super().__init__(f"store {where}: {why}")


class NotAStore(StoreError):
    """A file or database that is not a matdb store."""


class NewerStore(StoreError):
    """The store was written by a newer matdb."""


class StoreReadOnly(StoreError):
    """The store, or the folder that it lies in, cannot be written."""


class StoreBusy(StoreError):
    """Another writer held the store for longer than the waiting time."""


def plain_line(text: str) -> str:
    """Text as one line: what cannot be printed as question marks, the middle of a very long one left out."""
    line = "".join(c if c.isprintable() else "?" for c in text)
    return line if len(line) <= _LONGEST else f"{line[: _LONGEST - 300]} ... {line[-290:]}"


def _shown(value: object) -> str:
    """Quote a value for a one-line message: control characters escaped, long text cut."""
    text = repr(value) if isinstance(value, str) else str(value)
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= 80 else text[:77] + "..."
