import matdb

with matdb.open_store("bench.sqlite") as store:
    store.add(matdb.Material(name="amber 40A", family="silicone", hardness="40 A"))
    store.add(
        matdb.Part(name="ring 16x6x5", material="amber 40A", form=matdb.Ring(outer_mm=16, inner_mm=6, height_mm=5))
    )
    store.add(
        matdb.RingDown(part="ring 16x6x5", temperature_c=-18.0, mass_kg=2.5, frequency_hz=34.0, log_decrement=0.55)
    )
    curve = store.fit("amber 40A")
    bands = curve.modulus(temperature_c=[-10.0, 0.0, 23.0], frequency_hz=30.0)
    print(bands.storage_mpa.median, bands.storage_mpa.low, bands.storage_mpa.high, bands.extrapolated)
    answer = store.effective("ring 16x6x5", temperature_c=-5.0, mass_kg=0.25)
    print(answer.stiffness_n_per_mm, answer.damping_ratio, answer.natural_frequency_hz, answer.basis, answer.warnings)
