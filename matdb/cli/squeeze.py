"""``matdb squeeze``: how far to turn the screw of a two-part grommet."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Any, Final

from matdb.advice.exposure import Flight
from matdb.advice.squeeze import Squeeze, SqueezePoint
from matdb.advice.summary import how_to_fit, rest_matters
from matdb.api import Store
from matdb.cli.answering import AskedNow, before_flight
from matdb.cli.options import arg, option, squeeze_said
from matdb.cli.screen import Column, band_cell, given_text, lines, records_table, share_text, show
from matdb.cli.weather import AirOptions, flight_of
from matdb.curve.band import Band
from matdb.curve.curve import CONTRADICTED
from matdb.errors import InputError
from matdb.mounting.record import LOAD_FACTORS
from matdb.units import mass_text, parse, parse_list, parse_range, percent
from matdb.weather.forecast import forecast_range


@dataclass(frozen=True, kw_only=True)
class SqueezeOptions(AirOptions):
    """What a pair carries, at which temperatures, and how it is screwed together."""

    mass: str | None = option("MASS", "Payload on all pairs together, such as 600g; or several, 600g,900g.")
    count: int | None = option("NUMBER", "How many pairs share it; 4 without it.")
    mounting: str | None = option(
        "NAME", "Take payload (unless --mass tells it), count and load factors from this mounting."
    )
    load: str | None = option("RANGE", "Lowest to highest load factor in units of weight; 0.5..2 without it.")
    turns: float | None = option("NUMBER", "Look at this many turns past first touch, such as 1.5.")
    squeeze: str | None = option("LENGTH", "Look at this squeeze past first touch, such as 0.75mm.")
    assembly: str = option("TEMPERATURE", "Temperature at which the screw is turned.", "23C")
    set: str = option("SHARE", "Share of the squeeze that compression set and creep will take.", "15%")

    def __post_init__(self) -> None:
        if self.mounting is None and self.mass is None:
            raise InputError("--mass and --mounting", "neither", "one of the two, or both", "for instance --mass 600g")
        if self.mounting is not None and (self.count is not None or self.load is not None):
            raise InputError("--count or --load", "given", "left out with --mounting", "the mounting has its own")

    def asked(self, store: Store) -> list[dict[str, Any]]:
        """What the library is asked, for each payload: temperatures, a squeeze to look at, a mounting or the load."""
        air = flight_of(self)
        at = Flight(forecast_range(air.flown.low_c, air.flown.high_c), rest_h=air.rest_h)
        squeeze_mm, turns = squeeze_said(self.squeeze, self.turns)
        asked: dict[str, Any] = {"temperature_c": at, "turns": turns, "squeeze_mm": squeeze_mm}
        masses = parse_list(self.mass, "mass", "--mass")
        if self.mounting is not None:
            wanted = store.mounting(self.mounting)
            return [asked | {"mounting": each} for each in [replace(wanted, mass_kg=m) for m in masses] or [wanted]]
        asked |= {
            "count": 4 if self.count is None else self.count,
            "load_factors": LOAD_FACTORS if self.load is None else parse_range(self.load, "dimensionless", "--load"),
            "assembly_c": parse(self.assembly, "temperature", "--assembly"),
            "set_share": parse(self.set, "dimensionless", "--set"),
        }
        return [asked | {"mass_kg": mass} for mass in masses]


def squeeze(
    part: Annotated[str, arg("PART", "The part's name; its form is a grommet in two halves.")],
    said: SqueezeOptions,
    call: AskedNow,
) -> None:
    """Say how far to turn the screw of a grommet pair.

    For instance: matdb squeeze bobbin --mounting cam --mass 500g,1200g --temp -4C..9C.

    The least squeeze at which no half lifts off, the recommended one and the most that the rubber stands, in mm and
    in turns past first touch, with what the mount then does in the cold and in the warmth. With --turns or --squeeze
    also what that squeeze does.
    """
    with call.existing() as store:
        answers = [store.squeeze(part, **asked) for asked in said.asked(store)]
        shared = set(answers[0].warnings).intersection(*(answer.warnings for answer in answers))
        warnings = list(
            dict.fromkeys(
                text if text in shared else f"under {mass_text(answer.mass_kg)}: {text}"
                for answer in answers
                for text in answer.warnings
            )
        )
        cautions = before_flight(store, warnings, answers[0].points[0].squeeze_mm)
    payloads = [{key: value for key, value in each.to_dict().items() if key != "warnings"} for each in answers]
    told = _told(answers[0], said.mounting is None)
    if len(answers) > 1:
        under = [f"{part} under {mass_text(each.mass_kg)}:" for each in answers]
        firsts = [_told(each, said.mounting is None)[0].removeprefix(f"{part}:") for each in answers]
        told = [*map("".join, zip(under, firsts, strict=True)), told[1]]
    told.insert(len(answers) + 2, rest_matters(warnings))
    content = payloads[0] if len(answers) == 1 else {"part": part, "payloads": payloads}

    def behind() -> None:
        for answer in answers:
            _behind(answer)

    call.tell(told, content, behind, warnings, **cautions)


_SAID_OF: Final = {"asked": "As asked", "spacer": "With its spacer"}


def _told(answer: Squeeze, payload_alone: bool) -> list[str]:
    """How far to turn, what decides and what it rests on."""
    low, high = answer.load_factors
    head = "" if answer.recommended_mm is not None else "no squeeze holds; best compromise: "
    if answer.rests_on.startswith(CONTRADICTED):
        head = f"do not fly on this, what was read contradicts the label; by the label alone: {head}"
    return [
        f"{answer.part}: {head}{_verdict(answer.points[0])}{' the payload' if payload_alone else ''}"
        f"{_against(answer.points[0])}.",
        "Judged on holding the payload alone; give --mounting to judge the picture." if payload_alone else "",
        f"Decides: {answer.reason}.",
        *(f"{_SAID_OF[point.name]}: {_verdict(point)}{_against(point)}." for point in answer.points[1:]),
        f"For {mass_text(answer.mass_kg)} on {answer.count} grommets, load factors {low:g} to {high:g}, screwed "
        f"together at {answer.assembly_c:g} degC, {answer.set_share:.0%} for set and creep counted; {answer.rests_on}.",
        f"{answer.reasons[0][:1].upper()}{answer.reasons[0][1:]}.",
    ]


def _behind(answer: Squeeze) -> None:
    """Print the figures and every reason."""
    rows = [(point, k) for point in answer.points for k in range(len(point.temperature_c))]
    records_table(rows, _COLUMNS)
    least, most = _all(answer.least_mm), _all(answer.most_mm)
    ends = f"Least squeeze without lift-off {least} mm, the most that the rubber stands {most} mm"
    if answer.least_mm.median > answer.most_mm.median:
        room = f"strain allows {most} mm" if answer.most_mm.median > 0.0 else "the load alone strains a half too far"
        ends = f"No squeeze does both: it takes {least} mm to keep the halves in touch, and {room}"
    show(
        f"{ends}; bands hold 95 %, set and creep counted. 'In touch' is the probability that no half lifts off at any "
        "load factor."
    )
    lines("Why:", answer.reasons)


_COLUMNS: Final = (
    Column("squeeze, mm", lambda at: f"{at[0].name} {at[0].squeeze_mm:.2f}"),
    Column("at degC", lambda at: given_text(float(at[0].temperature_c[at[1]])), right=True),
    Column("stiffness of one, N/mm", lambda at: band_cell(at[0].stiffness_n_per_mm, index=at[1])),
    Column("natural frequency, Hz", lambda at: band_cell(at[0].natural_frequency_hz, index=at[1])),
    Column("sag, mm", lambda at: band_cell(at[0].sag_mm, 2, at[1])),
    Column("strain", lambda at: f"{100.0 * max(float(at[0].strain.median[at[1]]), 0.0):.0f}%", right=True),
    Column("in touch", lambda at: share_text(float(at[0].touching[at[1]])), right=True),
)


def _verdict(point: SqueezePoint) -> str:
    return f"{how_to_fit(point.squeeze_mm, point.turns, point.spacer_mm)}; {percent(point.holds)} sure to hold"


def _against(point: SqueezePoint) -> str:
    """What is against a squeeze that hardly holds."""
    return f" ({point.against})" if point.against else ""


def _all(found: Band) -> str:
    return f"{found.median:.2f} ({found.low:.2f}-{found.high:.2f})"
