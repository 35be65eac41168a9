"""The command line put together, and its one way out: a plain line and an exit code, never a traceback."""

from __future__ import annotations

import contextlib
import os
import sys
import warnings
from collections.abc import Sequence
from typing import Annotated, Any

import typer

from matdb.cli import (
    bench,
    cover,
    curve,
    demo,
    export,
    export_material,
    fit,
    material,
    modes,
    mounting,
    next_reading,
    page,
    part,
    picture,
    protocol,
    publish,
    reading,
    soak,
    squeeze,
    stiffness,
    store,
    suit,
    whole_store,
)
from matdb.cli.options import StoreOption
from matdb.errors import MatdbError
from matdb.version import VERSION

__all__ = ["app", "run"]

app = typer.Typer(
    name="matdb",
    help="Log bench readings of soft mounts; ask stiffness and damping at a field temperature, and which part "
    "suits tomorrow.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
    epilog="Quantities carry their unit: -18C, 0F, 250g, 0.55lb, 16mm, 30Hz, 4200rpm. "
    "Every number comes with a band that holds 95 % of what the readings allow.",
)


def _version(asked: bool) -> None:
    if asked:
        print(f"matdb {VERSION}")
        raise typer.Exit


@app.callback()
def _root(
    store: StoreOption = None,
    version: Annotated[
        bool, typer.Option("--version", help="Show the version and stop.", callback=_version, is_eager=True)
    ] = False,
) -> None:
    pass


app.command("demo", short_help="Walk the main job on an invented scenario.")(demo.demo)
app.add_typer(material.app, name="material")
app.add_typer(part.app, name="part")
app.add_typer(reading.app, name="reading")
app.command("bench", short_help="Read one part, step by step.")(bench.bench)
app.command("soak", short_help="Tell how long to soak a part.")(soak.soak)
app.command("protocol", short_help="Write a bench protocol sheet.")(protocol.protocol)
app.command("fit", short_help="Fit all readings of a material.")(fit.fit)
app.command("report", short_help="Tell what a fit rests on.")(fit.report)
app.command("curve", short_help="Show modulus and loss factor.")(curve.curve)
app.command("stiffness", short_help="Show a part's stiffness in the field.")(stiffness.stiffness)
app.add_typer(mounting.app, name="mounting")
app.command("suit", short_help="Rank the parts for a camera.")(suit.suit)
app.command("cover", short_help="Find the fewest parts for a season.")(cover.cover)
app.command("modes", short_help="Show all six modes of a camera.")(modes.modes)
app.command("squeeze", short_help="Say how far to turn a grommet's screw.")(squeeze.squeeze)
app.command("next", short_help="Rank the readings to take next.")(next_reading.next_reading)
export.app.command("shift", short_help="Write shift factors over temperature.")(export_material.shift)
export.app.command("prony", short_help="Write the Prony terms of the median curve.")(export_material.prony)
export.app.command("store", short_help="Write the whole store as one JSON file.")(whole_store.export_store)
app.add_typer(export.app, name="export")
app.add_typer(whole_store.app, name="import")
store.app.command("publish", short_help="Compute the stiffness table for SQL readers.")(publish.publish)
app.add_typer(store.app, name="store")
app.add_typer(picture.app, name="picture")
app.command("page", short_help="Write a page for the field.")(page.page)


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
    for stream in (sys.stdout, sys.stderr):
        # Old consoles lack many characters; a question mark is better than a crash.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    if argv is None and not sys.warnoptions:
        warnings.simplefilter("ignore")
    words = list(sys.argv[1:] if argv is None else argv) or ["--help"]
    try:
        result = typer.main.get_command(app).main(args=words, prog_name="matdb", standalone_mode=False)
        sys.stdout.flush()
    except BrokenPipeError:
        return _closed()
    except (KeyboardInterrupt, typer.Abort):
        return _say("stopped", 130)
    except SystemExit as end:
        # How Typer answers a reader that went away.
        return end.code if isinstance(end.code, int) else 1
    except MatdbError as error:
        return _say(str(error), error.exit_code)
    except Exception as error:
        return _unforeseen(error)
    return result if isinstance(result, int) else 0


def _unforeseen(error: Exception) -> int:
    format_message = getattr(error, "format_message", None)
    if format_message is not None:
        return _usage(error, str(format_message()))
    if os.environ.get("MATDB_TRACEBACK"):
        raise error
    if isinstance(error, OSError):
        where = f"{error.filename}: " if error.filename else ""
        return _say(f"{where}{error.strerror or error}", 1)
    if isinstance(error, MemoryError):
        return _say("not enough memory for this; ask for fewer rows at once", 1)
    return _say(
        f"unexpected fault ({type(error).__name__}: {error}); please report it with the command that you gave",
        1,
    )


def _usage(error: Any, message: str) -> int:
    path = getattr(getattr(error, "ctx", None), "command_path", "matdb")
    return _say(f"{message.rstrip('.')}; see '{path} --help'", getattr(error, "exit_code", 2))


def _say(text: str, code: int) -> int:
    """One line on the error stream."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
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
