"""The one way in and out of the command line: a plain line and an exit code, never a traceback."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import sys
import warnings
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import typer

from matdb.bench.readings import reading_fields
from matdb.cli.app import root_command
from matdb.cli.screen import document, documented
from matdb.errors import InputError, MatdbError, error_fields
from matdb.fields import stem_of

#: Options whose name does not follow from a field's, of records that do not say so themselves.
_OPTION_OF: Final = {
    "rpm_idle": "--rotor",
    "rpm_full": "--rotor",
    "rpm_hover": "--hover",
    "orders": "--order",
    "load_factors": "--load",
    "set_share": "--set",
    "low_c": "--temp",
    "high_c": "--temp",
    "sample_rate_hz": "--rate",
    "time_column": "--time",
    "signal_columns": "--signal",
    "base_columns": "--base",
}
_FIELD: Final = re.compile(r"(?<![\w'-])[a-z]+(?:_[a-z0-9]+)+(?!\w)")


def run(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv : sequence of str, optional
        The words after ``matdb``; those of the process when None.

    Returns
    -------
    int
        The exit code: 0 done, 1 refused or failed, 2 wrong usage or input, 130 stopped by the user.
    """
    closed = sys.stdout is None
    # Python has no stream where the shell closed one; the next file to be opened must not take its number either.
    sys.stdout, sys.stderr = (stream or open(os.devnull, "w") for stream in (sys.stdout, sys.stderr))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        # Old consoles lack many characters; a question mark is better than a crash.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    if argv is None and not sys.warnoptions:
        warnings.simplefilter("ignore")
    words = list(sys.argv[1:] if argv is None else argv) or ["--help"]
    if words == ["-V"]:
        words = ["--version"]
    documented.clear()
    try:
        result = root_command().main(args=words, prog_name="matdb", standalone_mode=False)
        sys.stdout.flush()
        if closed:
            return _unanswered("standard output is closed")
    except BrokenPipeError:
        return _closed()
    except (KeyboardInterrupt, typer.Abort):
        return _say("stopped", 130)
    except SystemExit as end:
        # How Typer answers a reader that went away.
        return end.code if isinstance(end.code, int) else 1
    except MatdbError as error:
        error = as_typed(error, words) if isinstance(error, InputError) else error
        return _say(str(error), error.exit_code, error if "--json" in words else None)
    except Exception as error:
        # An import that Ctrl-C ends midway says so in a wrapping of its own.
        if isinstance(error.__cause__, KeyboardInterrupt):
            return _say("stopped", 130)
        return _unforeseen(error, words)
    return result if isinstance(result, int) else 0


def _unforeseen(error: Exception, words: Sequence[str]) -> int:
    as_json = "--json" in words
    format_message = getattr(error, "format_message", None)
    if format_message is not None:
        path = getattr(getattr(error, "ctx", None), "command_path", "matdb")
        says, cure = str(format_message()).rstrip("."), f"see '{path} --help'"
        told = getattr(error, "option_name", None), *getattr(getattr(error, "param", None), "opts", ())
        option, quoted = next(filter(None, told), "command"), re.search("'(.+?)'", says)
        known = getattr(getattr(getattr(error, "ctx", None), "command", None), "params", ())
        bare = [(each.name or "").upper() for each in known if each.param_type_name == "argument"]
        if says.startswith("No such option") and option[2:].upper() in bare:
            says, cure = f"No such option: {option}", f"write {path} {' '.join(bare)}; {cure}"
        value = next((after for word, after in pairwise(words) if word == option), None)
        value = quoted.group(1) if quoted and option == "command" else value
        usage = InputError(option, value, "as its help says", cure, says=says)
        return _say(f"{says}; {cure}", getattr(error, "exit_code", 2), usage if as_json else None)
    if os.environ.get("MATDB_TRACEBACK"):
        raise error
    says = f"unexpected fault ({type(error).__name__}: {error}); please report it with the command that you gave"
    about: tuple[str, object, str] = "", None, ""
    if isinstance(error, OSError):
        # Whatever else is written names its file.
        if error.filename is None and error.errno in (errno.ENOSPC, errno.EIO, errno.EBADF, errno.EFBIG):
            return _unanswered(error.strerror or str(error))
        says = (f"{error.filename}: " if error.filename else "") + (error.strerror or str(error))
        about = "file", error.filename, "one that can be opened"
    elif isinstance(error, UnicodeEncodeError):
        says = f"{error.object!a}: a character in it cannot be written; use another name"
        about = "name", ascii(error.object), "one that can be written"
    elif isinstance(error, MemoryError):
        says = "not enough memory for this; ask for fewer rows at once"
    fault = MatdbError(says)
    fault.field, fault.value, fault.allowed = about
    return _say(says, 1, fault if as_json else None)


def _say(text: str, code: int, error: MatdbError | None = None) -> int:
    """One line on the error stream, and for a program that asked so the JSON document of the error."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if error is not None and not documented:
        with contextlib.suppress(OSError, ValueError):
            document("error", {"exit_code": code, "error": error_fields(error, line)})
    with contextlib.suppress(OSError, ValueError):
        sys.stdout.flush()
    with contextlib.suppress(OSError, ValueError):
        print(f"matdb: {line}", file=sys.stderr, flush=True)
    return code


def _closed() -> int:
    """The reader of our output went away: end quietly, also when Python flushes at the end."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 1


def _unanswered(why: str) -> int:
    _closed()
    return _say(f"the answer could not be written ({why}); what was changed in the store before that is kept", 1)


def as_typed(error: InputError, words: Sequence[str]) -> InputError:
    """The same error in the words that the user typed; where no option fits, as it was.

    Parameters
    ----------
    error : InputError
        Its field may be that of a record, such as ``mass_kg`` or ``part thread``; ``field`` and ``value`` of the
        error itself stay what programs know.
    words : sequence of str
        The words after ``matdb``.
    """
    typed = {word.partition("=")[0] for word in words if word.startswith("--")}
    option = error.field if error.field in typed else _option(error.field.rpartition(" ")[2], typed)

    def named(text: str) -> str:
        return _FIELD.sub(lambda match: _option(match[0], typed) or match[0], text)

    said = named(error.allowed), named(error.cure)
    if option is None or (option, *said) == (error.field, error.allowed, error.cure):
        return error
    return type(error)(option, error.value, *said)


def _option(field: str, typed: set[str]) -> str | None:
    """The option among those typed that fills a field."""
    read = reading_fields().get(field)
    own = read.option if read else _OPTION_OF.get(field)
    return next((name for name in (own, _as_option(field), _as_option(stem_of(field))) if name in typed), None)


def _as_option(name: str) -> str:
    return "--" + name.replace("_", "-")
