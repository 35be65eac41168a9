"""Tables for other tools as files that say where they come from: CSV, or JSON by the name's ending."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from matdb.curve.band import band
from matdb.curve.curve import DAMPING_UNREAD, checked_state
from matdb.curve.parameters import ln_shift
from matdb.errors import FitError
from matdb.exchange.csv_file import write_csv
from matdb.exchange.fingerprint import store_fingerprint
from matdb.exchange.tables import curve_warnings, table_rows
from matdb.fields import unit_of
from matdb.files import write_text
from matdb.material.shift import ZERO_C
from matdb.plain import plain
from matdb.version import VERSION

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from matdb.api import Store
    from matdb.curve.curve import Curve

    Array = NDArray[np.float64]

_TEXT: Final = frozenset(
    {"material", "part", "axis", "basis", "warnings", "kind", "who", "note", "source", "matdb_version", "value",
     "store_fingerprint", "taken_at", "logged_at", "retired_at", "retired_why", "extrapolated", "term", "law"}
)  # fmt: skip


def units_of(header: Iterable[str]) -> dict[str, str]:
    """The unit of each column that holds a quantity; "1" for a plain number.

    Parameters
    ----------
    header : iterable of str
        Column names, each ending in its unit; a band's ends carry ``_low`` and ``_high`` behind it.
    """
    stems = {name: name.removesuffix("_low").removesuffix("_high") for name in header}
    return {name: unit_of(stem) for name, stem in stems.items() if stem not in _TEXT}


def table_document(
    store: Store, what: str, header: Sequence[str], rows: Iterable[Sequence[Any]], more: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """A table as one object for JSON.

    Parameters
    ----------
    store : Store
        Where it comes from.
    what : str
        "curve", "shift", "prony", "stiffness", "readings".
    header, rows
        The table; cells of plain values, times, or None.
    more : mapping, optional
        What belongs to the table as a whole.

    Returns
    -------
    dict
        Format, version, the store's fingerprint, units by column, sources by material, and the rows as objects.
    """
    listed = [dict(zip(header, plain(row, finite=True), strict=True)) for row in rows]
    return {
        "format": "matdb table",
        "what": what,
        "matdb": VERSION,
        "store_fingerprint": store_fingerprint(store),
        "units": units_of(header),
        "sources": _sources(store, listed),
        **(more or {}),
        "rows": listed,
    }


def write_table(
    store: Store,
    path: str | os.PathLike[str],
    what: str,
    header: Sequence[str],
    rows: Iterable[Sequence[Any]],
    *,
    more: Mapping[str, Any] | None = None,
    force: bool = False,
) -> Path:
    """Write a table: JSON when the name ends in ``.json``, else CSV.

    The CSV is one plain rectangle, so that any spreadsheet opens it; what the JSON says once stands there in columns
    of its own: ``source``, ``matdb_version``, ``store_fingerprint``. Readings go without, since an import takes
    their columns back.

    Parameters
    ----------
    store, what, header, rows, more
        As :func:`table_document`; ``more`` goes into JSON alone.
    path : str or path
        The file; its folder must be there.
    force : bool
        Replace a file that is there.

    Raises
    ------
    FileTaken
        The file is there already.
    InputError
        It is a folder.
    OSError
        The folder cannot be written.
    """
    if Path(path).suffix.lower() == ".json":
        document = table_document(store, what, header, rows, more)
        return write_text(path, json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n", force=force)
    listed = [tuple(row) for row in rows]
    if what != "readings":
        mark, at = store_fingerprint(store), list(header).index("material")
        sources = {name: store.material(name).source for name in {row[at] for row in listed}}
        header = (*header, "source", "matdb_version", "store_fingerprint")
        listed = [(*row, sources[row[at]], VERSION, mark) for row in listed]
    return write_csv(path, header, listed, force=force)


def shift_rows(curve: Curve, temperature_c: Array) -> tuple[tuple[str, ...], list[tuple[Any, ...]]]:
    """Shift factors over temperature, relative to 23 degC, with 95 % bands.

    Parameters
    ----------
    curve : Curve
        A fit or a prior.
    temperature_c : ndarray, shape (n,)
        Degrees Celsius.

    Returns
    -------
    tuple
        Header and n rows: log10 a_T and its band, the median of log10 b_T, and whether it was measured.
    """
    t = checked_state(temperature_c, 1.0)[0].reshape(-1)
    shift = band(ln_shift(curve.draws, t + ZERO_C) / math.log(10.0))
    low, high = curve.measured_c or (math.inf, -math.inf)
    columns = {
        "material": curve.material,
        "temperature_c": t,
        "log10_shift": curve.median_ln_shift(t) / math.log(10.0),
        "log10_shift_low": shift.low,
        "log10_shift_high": shift.high,
        "log10_vertical_shift": curve.median_ln_vertical(t) / math.log(10.0),
        "basis": curve.basis,
        "extrapolated": (t < low - 0.5) | (t > high + 0.5),
        "warnings": ["; ".join(shift_warnings(curve, np.array([each]))) for each in t],
    }
    return tuple(columns), list(table_rows(len(t), *columns.values()))


def shift_warnings(curve: Curve, temperature_c: Array) -> tuple[str, ...]:
    """What to know of shift factors at temperatures in degrees Celsius, shape (n,), in plain words.

    A shift factor holds for any frequency, so the middle of those read is asked, and not of damping there.
    """
    hertz = np.exp(np.mean(curve.measured_ln_hz or (0.0, 0.0)) - curve.median_ln_shift(temperature_c))
    return tuple(note for note in curve_warnings(curve, temperature_c, hertz) if note != DAMPING_UNREAD)


def prony_rows(curve: Curve) -> tuple[tuple[str, ...], list[tuple[Any, ...]], dict[str, Any]]:
    """Prony terms of the median curve at 23 degC, for finite-element programs and simulators.

    Parameters
    ----------
    curve : Curve
        A fit or a prior.

    Returns
    -------
    tuple
        Header; one row a term, the equilibrium modulus first with an endless time left empty; and what belongs to
        the series as a whole: equation, errors, range, the table of shift factors.

    Raises
    ------
    FitError
        No series meets the curve.
    """
    from matdb.curve.prony import prony_series

    found = prony_series(curve)
    total = found.equilibrium_mpa + float(found.moduli_mpa.sum())
    if not total > 0.0:
        raise FitError(curve.material, "the series has no stiffness")
    at_23, moduli = np.array([23.0]), np.array([found.equilibrium_mpa, *found.moduli_mpa])
    # A term speaks for the frequency at which it peaks; the equilibrium for the lowest of the range.
    hertz = np.array([found.range_hz[0], *(1.0 / (2.0 * math.pi * found.times_s))])
    columns = {
        "material": curve.material,
        "term": np.arange(len(moduli)),
        "relaxation_time_s": [None, *found.times_s.tolist()],
        "modulus_mpa": moduli,
        "relative_modulus": moduli / total,
        "basis": curve.basis,
        "extrapolated": np.broadcast_to(curve.extrapolated(at_23, hertz), len(moduli)),
        "warnings": ["; ".join(curve_warnings(curve, at_23, np.array([f]))) for f in hertz],
    }
    more = {
        "equation": "E(s) = E0 + sum Ei s ti / (1 + s ti), s = 2 pi i f aT; at a temperature times bT",
        "reference_c": 23.0,
        "fitted_to": found.target,
        "storage_error": found.storage_error,
        "loss_error": found.loss_error,
        "range_hz": list(found.range_hz),
        "extrapolated": found.extrapolated,
        "shift": {
            "temperature_c": found.shift_c.tolist(),
            "log10_shift": (found.ln_shift / math.log(10.0)).tolist(),
            "log10_vertical_shift": (found.ln_vertical / math.log(10.0)).tolist(),
        },
    }
    return tuple(columns), list(table_rows(len(moduli), *columns.values())), more


def _sources(store: Store, rows: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """What each material in the rows says of where its entries come from."""
    names = {row["material"] for row in rows if row.get("material")}
    names |= {store.part(name).material for name in {row["part"] for row in rows if row.get("part")}}
    return {name: store.material(name).source for name in sorted(names)}
