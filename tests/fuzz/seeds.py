"""Valid files of every kind that matdb reads, small, built by code: where the fuzzing starts from."""

from __future__ import annotations

import datetime as dt
import io
import json
import sqlite3
import zipfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

import matdb
from matdb.curve.fit import prior_curve
from matdb.delimited import csv_text
from matdb.exchange.reading_file import columns
from matdb.exchange.tables import readings_table
from matdb.exchange.whole_store import store_text
from matdb.store import FitRecord
from matdb.store.arrays import pack
from matdb.units import UNITS

__all__ = ["PARTS", "SEEDS", "WORDS", "packed_workbook", "small_store"]

_SPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_LINKS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACK = "http://schemas.openxmlformats.org/package/2006"
_KIND = "application/vnd.openxmlformats-officedocument.spreadsheetml"

PARTS = [
    matdb.Part(name="ring", material="amber", form=matdb.Ring(16, 6, 5)),
    matdb.Part(name="0042", material="amber", form=matdb.Strut(outer_mm=6, inner_mm=4, length_mm=10)),
]
_WHEN = dt.datetime(2024, 1, 31, 14, 5, tzinfo=dt.UTC)
_READINGS = [
    matdb.RingDown(part="ring", temperature_c=-18, mass_kg=0.25, frequency_hz=31.2, log_decrement=0.5, taken_at=_WHEN),
    matdb.Resonance(part="0042", temperature_c=5, mass_kg=0.3, count=2, frequency_hz=21, half_power_width_hz=3.0),
    matdb.Deflection(part="ring", temperature_c=23, mass_kg=0.5, deflection_mm=0.3, soak_min=45.0, note="=1+1"),
    matdb.ModulusPoint(material="amber", temperature_c=0, frequency_hz=10, storage_mpa=2.1, loss_factor=0.12),
    matdb.HardnessReading(material="amber", temperature_c=23, value="41 A", who="zoë"),
]


def small_store(path: Path) -> Path:
    """A store with a few records of every kind and a fit of the fewest draws that answer, in small pages."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA page_size = 512")
    connection.execute("VACUUM")
    connection.close()
    with matdb.open_store(path) as store:
        store.add(
            [
                matdb.Material(name="amber", family="silicone", hardness="40 A"),
                *PARTS,
                *_READINGS,
                matdb.Mounting(name="cam", mass_kg=0.6, count=4, rpm_idle=4200, rpm_full=8000, manoeuvre_hz=8.0),
            ]
        )
        number = store.records.readings()[0].id
        store.correct(number, _READINGS[0], "typed twice")
        store.add(matdb.Part(name="loose", material="amber", form=matdb.Pad(diameter_mm=10, height_mm=5)))
        store.undo()
        for note in ("one", "two"):
            store.records.replace("cam", replace(store.mounting("cam"), note=note), note)
        store.undo()
        seen = store.records.evidence("amber")
        meta, arrays = prior_curve(seen.material).to_meta_and_arrays()
        store.records.save_fit(
            FitRecord(
                material="amber",
                program_version="0",
                meta=meta | {"measured_c": [-18.0, 23.0], "measured_ln_hz": [0.0, 5.0]},
                arrays={name: np.asarray(values)[:50] for name, values in arrays.items()},
                reading_ids=tuple(kept.id for kept in seen.readings),
                fingerprint=seen.fingerprint,
            )
        )
    return path


def packed_workbook(files: Mapping[str, str | bytes]) -> bytes:
    """An XLSX workbook of the given entries over plain ones."""
    whole: dict[str, str | bytes] = {
        "[Content_Types].xml": f'<Types xmlns="{_PACK}/content-types"><Default Extension="xml" '
        f'ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="{_KIND}.sheet.main+xml"/>'
        "</Types>",
        "_rels/.rels": f'<Relationships xmlns="{_PACK}/relationships"><Relationship Id="r" '
        f'Type="{_LINKS}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{_SPACE}" xmlns:r="{_LINKS}"><sheets><sheet name="day" sheetId="1" '
        'r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACK}/relationships"><Relationship Id="r1" '
        f'Type="{_LINKS}/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="r2" '
        f'Type="{_LINKS}/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
        "xl/sharedStrings.xml": f'<sst xmlns="{_SPACE}"><si><t>kind</t></si><si><t>ring-down</t></si></sst>',
        "xl/worksheets/sheet1.xml": _sheet([["kind", "part"], ["ring-down", "ring"]]),
        **files,
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as file:
        for name, text in whole.items():
            file.writestr(zipfile.ZipInfo(name), text)
    return out.getvalue()


def _sheet(rows: list[list[str | float]]) -> str:
    body = ""
    for r, row in enumerate(rows, 1):
        cells = "".join(
            f'<c r="{chr(65 + c)}{r}" t="inlineStr"><is><t>{v}</t></is></c>'
            if isinstance(v, str)
            else f'<c r="{chr(65 + c)}{r}"><v>{v}</v></c>'
            for c, v in enumerate(row)
        )
        body += f'<row r="{r}">{cells}</row>'
    return f'<worksheet xmlns="{_SPACE}"><sheetData>{body}</sheetData></worksheet>'


def _readings_csv(folder: Path) -> list[bytes]:
    with matdb.open_store(small_store(folder / "store.sqlite")) as store:
        table = readings_table(store.records.each_reading(include_retired=True))
        whole = csv_text(table.header, table.rows)
    by_hand = (
        "Type;Isolator;temp_F;Mass (g);freq [Hz];decrement;soak_h;when;notes\n"
        "ring-down;ring;0;250;31,2;0,5;1;2024-01-31T14:05;\n"
        "# a comment\n\nresonance;0042;41;300;21;;;31.1.2024;'=1\n"
    )
    bare = "temp;mass;frequency\n-18C;250g;31.2Hz\n0 °F;0.55 lb;1.2e1 Hz\n"
    return [whole.encode(), by_hand.encode(), bare.encode("utf-16"), b"\xef\xbb\xbf" + by_hand.encode()]


def _workbooks(_: Path) -> list[bytes]:
    # The first byte says which entry the rest is; see the target.
    sheet = _sheet([["kind", "part", "temp_C", "mass_g", "freq_Hz"], ["ring-down", "ring", -18.0, 250.0, 31.25]])
    dated = sheet.replace("<row", '<row spans="1:5"').replace("<c ", '<c s="1" ')
    return [
        b"\x00" + packed_workbook({}),
        b"\x01" + sheet.encode(),
        b"\x01" + dated.encode(),
        b"\x02" + f'<sst xmlns="{_SPACE}"><si><t>a</t></si><si><r><t>b</t></r></si></sst>'.encode(),
        b"\x03" + f'<workbook xmlns="{_SPACE}"><sheets><sheet name="x" r:id="r1"/></sheets></workbook>'.encode(),
        b"\x04" + f'<styleSheet xmlns="{_SPACE}"><cellXfs><xf numFmtId="14"/></cellXfs></styleSheet>'.encode(),
    ]


def _points(_: Path) -> list[bytes]:
    return [b"deflection_mm,force_n\n0.1,1\n0.2,2.5\n", b"Deflection (in);Load [lbf];note\n0,01;0,2;a\n;;\n"]


def _documents(folder: Path) -> list[bytes]:
    with matdb.open_store(small_store(folder / "store.sqlite")) as store:
        return ["".join(store_text(store)).encode()]


def _traces(_: Path) -> list[bytes]:
    time = np.arange(0.0, 0.4, 0.02)
    wave = np.exp(-time) * np.sin(30 * time)
    rows = "\n".join(f"{t:.4g},{x:.4g},{2 * x:.4g}" for t, x in zip(time, wave, strict=True))
    comma = rows.replace(",", ";").replace(".", ",")
    # The first byte chooses the options; see the target.
    return [
        b"\x00time (s),ax,ay\n" + rows.encode(),
        b"\x00# logger\n\nZeit [ms];Beschl.;base\n" + comma.encode(),
        b"\x01" + "\n".join(f"{x:.4g}" for x in wave).encode(),
        b"\x02t\tax\tay\n" + rows.replace(",", "\t").encode(),
        b"\x00" + ("time,abs\n" + rows).encode("utf-16"),
    ]


def _flights(_: Path) -> list[bytes]:
    t = np.arange(0.0, 22.0, 0.019)
    columns = [t, 20 * np.sin(150 * t), 10 * np.cos(90 * t), 5 * np.sin(40 * t), 20 + t]
    rows = "\n".join(",".join(f"{x:.4g}" for x in row) for row in zip(*columns, strict=True)).encode()
    # The first byte chooses the options; see the target.
    return [
        b"\x00time (s),gyro_x (deg/s),gyro_y (deg/s),gyro_z (deg/s),rotor (rpm)\n" + rows,
        b"\x01a,b,c,d,e\n" + rows,
        b"\x02t,p (deg/s),q (deg/s),r (deg/s),temp C\n" + rows,
    ]


def _forecasts(_: Path) -> list[bytes]:
    # The first byte chooses hourly, hourly with unit, or monthly.
    return [
        b"\x00time,temperature (C)\n2026-01-31 14:00,-5.0\n2026-01-31 15:00,-4.5\n2026-01-31 16:00,\n",
        b"\x00station;x\nDatum;Uhrzeit;Lufttemperatur [\xc2\xb0C]\n31.01.2026;14:00;-5,0\n31.01.2026;15:00;-4,5\n",
        b"\x01valid utc|temp\n20260131T14Z|5\n20260131T15Z|6\n",
        b"\x01time,temp\n1769868000,5F\n1769871600,6F\n",
        b"\x00hour,temp_K\n0,268\n1,269.5\n",
        b"\x00date,temp (F)\n1/31/2026 2:00 pm,30\n1/31/2026 3:00 PM,31\n",
        b"\x02month,low (C),high (C)\n" + b"".join(b"%d,%d,%d\n" % (m, m - 10, m + 10) for m in range(1, 13)),
    ]


def _reports(_: Path) -> list[bytes]:
    return [
        b"METAR KSEA 251053Z 00000KT 10SM M02/M05 A3000 RMK AO2 T10171022",
        b"SPECI EDDM 201120Z AUTO 24008KT 9999 // ///// 03/02 Q1013 NOSIG=",
        b"TAF EDDM 201100Z 2012/2118 24008KT CAVOK TX03/2014Z TNM05/2106Z BECMG 2018/2020",
        b"TAF AMD LOWW 311100Z 3112/0118 TXM03/3114Z TNM15/0106Z",
        b"METAR EDDM 011120Z 24008KT M00/M01 Q1013 TEMPO 4000 T00001",
    ]


def _spectra(_: Path) -> list[bytes]:
    return [
        b"frequency (Hz),x (m/s2),z (g),yaw (deg/s2)\n10,0.1,0.01,1\n70,1,0.3,20\n",
        b"freq_Hz;vertical_(m/s2)2/Hz;pitch [(rad/s2)2/Hz]\n10;0,1;1e-3\n70;0,2;1e-4\n",
        b"f [Hz]|z [g^2/Hz]\n5|1\n6|2\n",
    ]


def _patches(_: Path) -> list[bytes]:
    # A way of changing a sound store file each; see the target.
    return [b"\x00\x00\x00\x01\x20\xff", b"\x01\x03\x02\x01text", b"\x02\x00x", b"\x01\x05\x01\x02" + b"\x00" * 8]


def _arrays(_: Path) -> list[bytes]:
    block = pack({"draws": np.ones((2, 12)), "misfit": np.zeros(2), "none": np.zeros((2, 0))})
    # The first byte says whether the checksum is put right.
    return [b"\x00" + block, b"\x01" + block[:-32], b"\x01" + pack({})[:-32]]


def _mountings(_: Path) -> list[bytes]:
    plain = {"mass_kg": 0.6, "count": 4, "rpm_idle": 4200, "rpm_full": 8000, "manoeuvre_hz": 8.0}
    places = [[30, 30, 0], [-30, 30, 0], [-30, -30, 0], [30, -30, 0]]
    whole = plain | {
        "positions_mm": places,
        "box_mm": [60, 50, 40],
        "centre_mm": [0, 0, -10],
        "orders": [1.0, 2.0],
        "load_factors": [-1.0, 3.0],
        "focal_length_mm": 24.0,
        "pixel_pitch_um": 2.4,
        "row_time_us": 8.0,
        "rows": 2000,
        "packages": [{"name": "light", "mass_kg": 0.4, "inertia_kg_mm2": [500.0, 400.0, 300.0]}],
    }
    return [json.dumps(each).encode() for each in (plain, whole)]


#: What each kind of file starts from; every function takes an empty folder to work in.
SEEDS = {
    "readings_csv": _readings_csv,
    "readings_xlsx": _workbooks,
    "points_csv": _points,
    "store_document": _documents,
    "trace_csv": _traces,
    "flight_csv": _flights,
    "forecast_csv": _forecasts,
    "weather_report": _reports,
    "spectrum_csv": _spectra,
    "store_file": _patches,
    "fit_arrays": _arrays,
    "mounting_json": _mountings,
}

#: Words that the files are made of.
WORDS = sorted(
    {name for c in columns().values() for name in (c.name, c.stem, *c.aliases)}
    | set(UNITS.values())
    | {"ring-down", "resonance", "deflection", "modulus", "hardness", "shear", "41 A", "30 OO", "nan", "inf", "1e999"}
    | {"-9999", "%", "°C", "K", "g", "lb", "time", "date", "utc", "valid", "dew", "base", "abs", "TX", "TN", "M05/M07"}
    | {"RMK", "NIL", "T1017", "//", "Z", "deg/s2", "g2/Hz", "(rad/s2)2/Hz", "--", "null", "true", "\N{MINUS SIGN}5"}
)
