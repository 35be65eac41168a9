"""Which of two parts suits a small camera from frost to a warm afternoon? From labels alone, before any reading."""

import matdb

camera = matdb.Mounting(name="cam", mass_kg=0.62, count=4, rpm_idle=4200, rpm_full=8000, blades=2, manoeuvre_hz=8.0)

with matdb.open_store("shelf.sqlite") as store:
    store.add(
        [
            matdb.Material(name="clear gel", family="silicone gel", hardness="30 OO"),
            matdb.Part(name="gel ring", material="clear gel", form=matdb.Ring(outer_mm=14, inner_mm=5, height_mm=7)),
            matdb.Part(name="gel pad", material="clear gel", form=matdb.Pad(diameter_mm=20, height_mm=4)),
        ]
    )
    for row in store.suit(camera, [-10.0, 25.0]):
        print(f"{row.part}: {row.verdict} ({row.probability:.0%}); {row.reason}")
