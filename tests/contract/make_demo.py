"""The demo store of the contract.

``python tests/contract/make_demo.py --upgrade`` brings it to a new revision with its fits as they are. Without the
option it is made anew: do so only when the demo scenario itself changes, since every recording rests on those fits.
"""

import lzma
import re
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

import matdb

sys.path.insert(0, str(Path(__file__).parents[1]))
from contract.conftest import pour

PACKED = Path(__file__).parent / "demo.sql.xz"
MORE = [
    matdb.Part(name="gel pair", material="clear gel 30 OO", form=matdb.GrommetPair(
        matdb.Ring(14, 5, 5), matdb.Ring(14, 5, 4), plate_mm=2, thread="M3", spacer_mm=8.5)),
    matdb.Part(name="white pair", material="white 20A", form=matdb.GrommetPair(
        matdb.Ring(12, 5, 4), matdb.Pad(10, 3), plate_mm=2, thread="M3")),
    matdb.Part(name="bush", material="white 20A", form=matdb.Bush(12, 6, 10)),
    matdb.Part(name="taper", material="white 20A", form=matdb.Taper(12, 8, 10)),
    matdb.Part(name="leg lying", material="print 85A", form=matdb.PrintedStrut(
        10, 4, 25, wall_mm=0.8, infill_share=0.2, pattern="bend", build="lying")),
    matdb.Part(name="loop", material="tan 40A", form=matdb.CableLoop(30, ((1, 2), (3, 5)), 0.2)),
    matdb.Part(name="bought", material="tan 40A", form=matdb.Measured(height_mm=8, shear_share=0.4)),
    matdb.Part(name="loose pad", material="tan 40A", form=matdb.Pad(10, 5, bonded=False,
        load_points=((0.5, 4.0), (1.0, 10.0)))),
    matdb.Mounting(
        name="six axes", mass_kg=0.6, count=4, rpm_idle=4500, rpm_full=9000, rpm_hover=6000, manoeuvre_hz=4.0,
        positions_mm=((45, 35, 0), (45, -35, 0), (-45, 35, 0), (-45, -35, 0)), box_mm=(100, 80, 60),
        centre_mm=(4.0, -3.0, -20.0), inclination_deg=20.0, row_time_us=12.5, rows=4000, focal_length_mm=24.0,
        pixel_pitch_um=4.0, packages=(matdb.CameraPackage(name="zoom", mass_kg=0.9, box_mm=(140, 90, 80)),),
    ),
]  # fmt: skip


def dump(file):
    with closing(sqlite3.connect(file)) as connection:
        return "\n".join(connection.iterdump()) + "\n"


def upgraded():
    """The store that is there, as the newest revision has it."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "demo.sqlite"
        pour(lzma.decompress(PACKED.read_bytes()).decode(), file)
        with matdb.open_store(file) as store:
            store.materials()
        return dump(file)


def made_anew():
    """The demo's own store with the parts above, at a time long past."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "demo.sqlite"
        run = [sys.executable, "-m", "matdb", "--store", str(file), "demo"]
        subprocess.run(run, check=True, capture_output=True)
        with matdb.open_store(file) as store:
            store.add(MORE)
            for name in ("clear gel 30 OO", "tan 40A"):
                store.publish(name)
        # Long past, so that these times can be told from now; a fit knows its readings with their times.
        past = Path(folder) / "past.sqlite"
        pour(re.sub(r"'20\d\d-\d\d-\d\d (\d\d:\d\d:\d\d\.\d+)'", r"'2026-01-15 \1'", dump(file)), past)
        with matdb.open_store(past) as store:
            prints = {m.name: store.records.evidence(m.name).fingerprint for m in store.materials()}
        with closing(sqlite3.connect(past)) as connection, connection:
            for name, print_ in prints.items():
                of = "(SELECT id FROM material WHERE name = ?)"
                connection.execute(f"UPDATE fit SET fingerprint = ? WHERE material_id = {of}", (print_, name))
        return dump(past)


if __name__ == "__main__":
    sql = upgraded() if "--upgrade" in sys.argv[1:] else made_anew()
    PACKED.write_bytes(lzma.compress(sql.encode(), preset=9 | lzma.PRESET_EXTREME))
