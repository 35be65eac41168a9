"""Temperatures from aviation weather reports: METAR and SPECI (now), TAF (the coming extremes).

Only what bears on temperature is read: the group ``M02/M05`` and the North American remark ``T10171022`` of a
METAR, the groups ``TX03/2014Z TNM05/2106Z`` and the validity of a TAF. The rest of a report may be anything.

Sources
-------
.. [1] WMO-No. 306, Manual on Codes, FM 15 METAR, FM 16 SPECI, FM 51 TAF (memory).
.. [2] ICAO Annex 3, Meteorological Service for International Air Navigation, appendices 3 and 5 (memory).
.. [3] FCM-H1, Federal Meteorological Handbook No. 1: additive temperature group TsnT'T'T'snT'dT'dT'd (memory).
"""

from __future__ import annotations

import calendar
import datetime as dt
import math
import re
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from matdb.errors import InputError
from matdb.weather.forecast import COLDEST_C, HOTTEST_C, Forecast

_LONGEST = 4000
#: Temperatures between a lowest and a highest that hold for one hour.
_RANGE_STEPS = 13
#: A TAF is valid for at most 30 hours [2]_.
LONGEST_TAF_H = 30

_STATION = re.compile(r"[A-Z][A-Z0-9]{3}")
_ISSUED = re.compile(r"(\d{2})(\d{2})(\d{2})Z")
_PAIR = re.compile(r"(M?\d{2}|//|XX)/(M?\d{2}|//|XX)?")
_NEARLY_PAIR = re.compile(r"(?:M|MM|-|\+)?\d{1,3}/(?:M|MM|-|\+)?\d{1,3}")
_TENTHS = re.compile(r"T([01])(\d{3})(?:([01])(\d{3}))?")
_NEARLY_TENTHS = re.compile(r"T\d{4,}")
_VALID = re.compile(r"(\d{2})(\d{2})/(\d{2})(\d{2})")
_EXTREME = re.compile(r"T([XN])(M?\d{2})/(\d{2})(\d{2})Z")
_NEARLY_EXTREME = re.compile(r"T[XN][M\d/\-+]\S*")


@dataclass(frozen=True)
class Metar:
    """The temperature of an aviation routine or special report.

    Attributes
    ----------
    station : str
        Four-letter place indicator; "" when the report begins without one.
    when : tuple of int, or None
        Day of the month, hour and minute (UTC) of the observation.
    temperature_c : float
        Degrees Celsius: the remark's tenths where it has them, else whole degrees.
    dew_point_c : float or None
        Dew point, degrees Celsius.
    tenths : bool
        Whether the temperature is from the remark.

    """

    station: str
    when: tuple[int, int, int] | None
    temperature_c: float
    dew_point_c: float | None
    tenths: bool

    @property
    def label(self) -> str:
        """Station and time as in the report."""
        when = " {:02d}{:02d}{:02d}Z".format(*self.when) if self.when else ""
        return f"METAR {self.station}".rstrip() + when


@dataclass(frozen=True)
class Extreme:
    """One extreme temperature of a TAF.

    Attributes
    ----------
    kind : str
        ``"highest"`` or ``"lowest"``.
    temperature_c : float
        Whole degrees Celsius.
    hours_on : float
        Hours from the start of validity.

    """

    kind: str
    temperature_c: float
    hours_on: float


@dataclass(frozen=True)
class Taf:
    """The extreme temperatures of an aerodrome forecast.

    Attributes
    ----------
    label : str
        Station and validity as in the report.
    begin_day, begin_hour : int
        Start of validity: day of the month and hour, UTC.
    extremes : tuple of Extreme
        In order of time; one or more.

    """

    label: str
    begin_day: int
    begin_hour: int
    extremes: tuple[Extreme, ...]


def _tokens(kind: str, text: object, words: tuple[str, ...] = ()) -> list[str]:
    """The groups of one report; refused when its keyword comes again (but for a doubled one at once)."""
    if not isinstance(text, str) or not text.strip():
        raise InputError(kind, text if isinstance(text, str) else type(text).__name__, f"the text of one {kind}")
    if len(text) > _LONGEST:
        raise InputError(kind, f"{len(text)} characters", f"one {kind} of at most {_LONGEST} characters")
    tokens = text.upper().replace("=", " ").replace("\N{MINUS SIGN}", "-").split()
    doubled = [False, *(a == b == "TAF" for a, b in pairwise(tokens))][: len(tokens)]
    if sum(t in words and not again for t, again in zip(tokens, doubled, strict=True)) > 1:
        raise InputError(kind, " ".join(tokens), f"one {kind} at a time", "give its lines alone")
    return tokens


def _parted(tokens: list[str]) -> tuple[list[str], list[str]]:
    """What stands before the remarks, and the remarks."""
    cut = tokens.index("RMK") if "RMK" in tokens else len(tokens)
    return tokens[:cut], tokens[cut + 1 :]


def _signed(text: str) -> float:
    return -float(text[1:]) if text[0] == "M" else float(text)


def _plausible(kind: str, group: str, value: float) -> float:
    if not COLDEST_C <= value <= HOTTEST_C:
        raise InputError(f"{kind} temperature", group, f"from {COLDEST_C:g} to {HOTTEST_C:g} degrees Celsius")
    return value + 0.0  # M00 is 0, not -0


def parse_metar(text: str) -> Metar:
    """Read the temperature of a METAR or SPECI.

    Parameters
    ----------
    text : str
        One report, with or without its leading keyword and station; any case.

    Returns
    -------
    Metar

    Raises
    ------
    InputError
        No report, several, a missing (``/////``) or malformed temperature group, or a remark that
        contradicts it; one clear line each.

    Examples
    --------
    >>> parse_metar("METAR KSEA 251053Z 00000KT 10SM M02/M05 A3000 RMK AO2 T10171022").temperature_c
    -1.7

    Sources: [1]_, [3]_.

    """
    tokens = _tokens("METAR", text, ("METAR", "SPECI"))
    if "TAF" in tokens:
        raise InputError("METAR", "TAF", "a METAR or SPECI", "read it as a TAF")
    body, remarks = _parted(tokens)
    if "NIL" in body:
        raise InputError("METAR", " ".join(body), "a report with content; NIL says that there is none")
    station, when = _issue(body)
    stop = next((i for i, t in enumerate(body) if t in ("NOSIG", "BECMG", "TEMPO")), len(body))
    pairs = [t for t in body[:stop] if _PAIR.fullmatch(t) or t == "/////"]
    if len(pairs) > 1:
        raise InputError("METAR temperature", " ".join(pairs), "one group such as M02/M05")
    wrong = [t for t in body[:stop] if not _PAIR.fullmatch(t) and _NEARLY_PAIR.fullmatch(t)]
    if not pairs and wrong:
        raise InputError("METAR temperature", wrong[0], "two digits on each side, M for minus, such as M02/M05")
    temperature = dew = None
    if pairs and (match := _PAIR.fullmatch(pairs[0])) is not None:
        temperature, dew = (
            _plausible("METAR", pairs[0], _signed(half)) if half and half[-1].isdigit() else None
            for half in match.groups()
        )
    exact = _tenths(remarks)
    if exact is not None:
        group, tenths, dew_tenths = exact
        if temperature is not None and abs(tenths - temperature) > 1.0:
            raise InputError("METAR", f"{pairs[0]} and {group}", "two groups that agree within 1 degree")
        temperature, dew = tenths, dew if dew_tenths is None else dew_tenths
    if temperature is None:
        shown = pairs[0] if pairs else " ".join(body)
        cure = "this report has none: take another one, or give the temperature by hand"
        raise InputError("METAR temperature", shown, "reported, such as M02/M05", cure)
    if dew is not None and dew > temperature + 1.0:
        raise InputError("METAR dew point", f"{dew:g} °C", f"at most the temperature ({temperature:g} °C)")
    return Metar(station, when, temperature, dew, exact is not None)


def _issue(body: list[str]) -> tuple[str, tuple[int, int, int] | None]:
    """The station and the day, hour and minute of issue; "" and None where the report does not say."""
    for i, token in enumerate(body):
        if issued := _ISSUED.fullmatch(token):
            day, hour, minute = (int(g) for g in issued.groups())
            if not 1 <= day <= 31 or hour > 23 or minute > 59:
                raise InputError("METAR time", token, "day 01 to 31, hour 00 to 23, minute 00 to 59")
            named = i and _STATION.fullmatch(body[i - 1]) and body[i - 1] != "METAR"
            return body[i - 1] if named else "", (day, hour, minute)
    return "", None


def _tenths(remarks: list[str]) -> tuple[str, float, float | None] | None:
    """The remark's group and its temperature and dew point in tenths, degrees Celsius."""
    found = next((m for t in remarks if (m := _TENTHS.fullmatch(t))), None)
    if found is None:
        bad = next((t for t in remarks if _NEARLY_TENTHS.fullmatch(t)), None)
        if bad is not None:
            raise InputError("METAR remark", bad, "T, a sign 0 or 1 and tenths, such as T10171022")
        return None
    sign, digits, dew_sign, dew_digits = found.groups()
    value = _plausible("METAR", found[0], round((-0.1 if sign == "1" else 0.1) * int(digits), 1))
    dew = round((-0.1 if dew_sign == "1" else 0.1) * int(dew_digits), 1) if dew_digits else None
    return found[0], value, dew


def parse_taf(text: str, issued: dt.date | None = None) -> Taf:
    """Read the extreme temperatures of a TAF.

    Parameters
    ----------
    text : str
        One forecast, with or without its leading keyword; any case.
    issued : date or None
        About when it was issued (within two weeks): settles the month's length where the validity or the
        extremes run into the next month. Without it the length is told from the validity being at most
        30 hours.

    Returns
    -------
    Taf

    Raises
    ------
    InputError
        No forecast, several, cancelled, no or bad validity, no or malformed extremes, an extreme outside the
        validity, or a lowest above a highest; one clear line each.

    Examples
    --------
    >>> [e.temperature_c for e in parse_taf("TAF EDDM 201100Z 2012/2118 TX03/2014Z TNM05/2106Z").extremes]
    [3.0, -5.0]

    Sources: [1]_, [2]_.

    """
    tokens = _tokens("TAF", text, ("TAF",))
    if "METAR" in tokens or "SPECI" in tokens:
        raise InputError("TAF", "METAR", "a TAF", "read it as a METAR")
    for word, meaning in (("NIL", "there is none"), ("CNL", "it is cancelled")):
        if word in tokens:
            raise InputError("TAF", " ".join(tokens), f"a forecast with content; {word} says that {meaning}")
    body, _ = _parted(tokens)
    at = next((i for i, t in enumerate(body) if _VALID.fullmatch(t)), None)
    if at is None:
        raise InputError("TAF", " ".join(tokens), "a forecast with a validity such as 2012/2118")
    valid = body[at]
    day, hour, end_day, end_hour = (int(valid[i : i + 2]) for i in (0, 2, 5, 7))
    if not (1 <= day <= 31 and 1 <= end_day <= 31 and hour <= 24 and end_hour <= 24):
        raise InputError("TAF validity", valid, "days 01 to 31 and hours 00 to 24, such as 2012/2118")
    station = next((t for t in body[:at] if _STATION.fullmatch(t)), "")
    month = _likely_month_days(day, hour, end_day, end_hour)
    if issued is not None:
        start = _nearest(day, issued)
        month = calendar.monthrange(start.year, start.month)[1]
    valid_hours = _hours_between(day, hour, end_day, end_hour, month)
    if not 0.0 < valid_hours <= LONGEST_TAF_H:
        raise InputError("TAF validity", valid, f"an end up to {LONGEST_TAF_H} hours after its begin")
    extremes = [e for t in body if (e := _extreme(t, valid, day, hour, valid_hours, month)) is not None]
    if not extremes:
        cure = "many TAFs have none: give a range or an hourly forecast"
        raise InputError("TAF temperature", "no TX or TN group", "forecast, such as TX03/2014Z TNM05/2106Z", cure)
    low, high = ([e.temperature_c for e in extremes if e.kind == kind] for kind in ("lowest", "highest"))
    if low and high and min(low) > max(high):
        raise InputError("TAF temperature", f"TN {min(low):g}, TX {max(high):g}", "a lowest not above the highest")
    return Taf(f"TAF {station} {valid}", day, hour, tuple(sorted(extremes, key=lambda e: e.hours_on)))


def _extreme(token: str, valid: str, begin_day: int, begin_hour: int, valid_hours: float, month: int) -> Extreme | None:
    """A group as an extreme; None when it is none."""
    match = _EXTREME.fullmatch(token)
    if match is None:
        if _NEARLY_EXTREME.fullmatch(token):
            raise InputError("TAF temperature", token, "a group such as TX03/2014Z or TNM05/2106Z")
        return None
    letter, value, day, hour = match[1], _signed(match[2]), int(match[3]), int(match[4])
    known = 1 <= day <= 31 and hour <= 24
    hours_on = _hours_between(begin_day, begin_hour, day, hour, month) if known else math.nan
    # Some services time an extreme just outside; a whole day off is a mistake.
    if not -3.0 <= hours_on <= valid_hours + 3.0:
        raise InputError("TAF temperature", token, f"timed within the validity {valid}")
    return Extreme("highest" if letter == "X" else "lowest", _plausible("TAF", token, value), hours_on)


def _nearest(day: int, near: dt.date) -> dt.datetime:
    """The midnight (UTC) of that day of the month that is nearest to a date."""
    midnight = dt.datetime(near.year, near.month, near.day, tzinfo=dt.UTC)
    for shift in sorted(range(-16, 17), key=abs):
        if (found := midnight + dt.timedelta(days=shift)).day == day:
            return found
    raise InputError("TAF day", day, f"a day of the month near {near:%Y-%m-%d}")


def _hours_between(day: int, hour: int, to_day: int, to_hour: int, month: int) -> float:
    """Hours from one day and hour to another, a day before to a few days after, over the end of a month."""
    days = to_day - day
    if day == 1 and to_day >= 28:  # the last day of the month before
        days = -1
    elif days < -1:
        days += month
    return 24.0 * days + to_hour - hour


def _likely_month_days(day: int, hour: int, to_day: int, to_hour: int) -> int:
    """The longest month in which the end is at most 30 hours after the begin."""
    for length in (31, 30, 29, 28):
        if day <= length and 24 * (to_day + length - day) + to_hour - hour <= LONGEST_TAF_H:
            return length
    return max(day, 28)


def metar_forecast(text: str, issued: dt.date | None = None) -> Forecast:
    """The temperature of a METAR as a forecast of one hour.

    Parameters
    ----------
    text : str
        One report.
    issued : date or None
        About when it was issued (within two weeks), to date it.

    Raises
    ------
    InputError
        As :func:`parse_metar`.

    Sources: [1]_, [3]_.

    """
    report = parse_metar(text)
    notes = [] if report.tenths else ["rounded to whole degrees"]
    t, dew = report.temperature_c, report.dew_point_c
    if dew is not None and t <= 0.5 and t - dew <= 2.5:
        notes.append("near its dew point below freezing: frost may bridge the mount")
    start = None
    if issued is not None and report.when is not None:
        day, hour, minute = report.when
        start = _nearest(day, issued) + dt.timedelta(hours=hour, minutes=minute)
    return Forecast(np.array([t]), np.zeros(1), source=report.label, notes=tuple(notes), start=start)


def taf_forecast(text: str, issued: dt.date | None = None) -> Forecast:
    """The temperatures of a TAF as a forecast, hour by hour between its extremes where it has several.

    Between neighbouring extremes the temperature swings as half a cosine (common practice). Before the first and
    after the last nothing is said but that it stays between them.

    Parameters
    ----------
    text : str
        One forecast.
    issued : date or None
        About when it was issued (within two weeks), to date it.

    Returns
    -------
    Forecast
        Hours count from the start of validity. One extreme alone gives one temperature and a note.

    Raises
    ------
    InputError
        As :func:`parse_taf`.

    Sources: [1]_, [2]_.

    """
    taf = parse_taf(text, issued)
    points = {extreme.hours_on: extreme.temperature_c for extreme in taf.extremes}
    start = None if issued is None else _nearest(taf.begin_day, issued) + dt.timedelta(hours=taf.begin_hour)
    kind, *other = {e.kind for e in taf.extremes}
    notes = ["whole degrees"]
    if not other:
        notes.append(f"only the {kind} temperature is forecast: the other end is not known")
    at, values = np.array(sorted(points.items())).T
    if at.size != len(taf.extremes):  # TX and TN at one hour: a range
        low, high = (f(e.temperature_c for e in taf.extremes) for f in (min, max))
        return Forecast(np.linspace(low, high, _RANGE_STEPS), source=taf.label, notes=tuple(notes))
    if at.size > 1:
        hours = np.union1d(np.arange(at[0], at[-1] + 1.0), at)
        place = np.clip(np.searchsorted(at, hours, side="right") - 1, 0, at.size - 2)
        share = (hours - at[place]) / (at[place + 1] - at[place])
        swing = 0.5 - 0.5 * np.cos(np.pi * share)
        values = values[place] + (values[place + 1] - values[place]) * swing
        at = hours
        notes.append("hours between the extremes follow half a cosine; outside them the extremes bound it")
    return Forecast(values, at, source=taf.label, notes=tuple(notes), start=start)
