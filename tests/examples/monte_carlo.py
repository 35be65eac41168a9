import numpy as np

import matdb

with matdb.open_store("draws.sqlite") as store:
    store.add(matdb.Material(name="amber 40A", family="silicone", hardness="40 A"))
    store.add(matdb.Part(name="ring", material="amber 40A", form=matdb.Ring(outer_mm=16, inner_mm=6, height_mm=5)))
    k = store.answers("ring").draws([[-10.0], [20.0]], np.arange(20.0, 120.0), n=400, seed=1)  # N/mm, (400, 2, 100)
mass_kg = np.random.default_rng(1).normal(2.4, 0.05, (400, 1, 1))  # a payload that is not known better
inertia = 1e-3 * mass_kg * (2 * np.pi * np.arange(20.0, 120.0)) ** 2
largest = np.abs(4 * k / (4 * k - inertia)).max(axis=2)  # what gets through four of them, at the worst frequency
for t, low, high in zip((-10, 20), *np.quantile(largest, (0.1, 0.9), axis=0), strict=True):
    print(f"{t} degC: the camera moves {low:.1f} to {high:.1f} times as far as the airframe (8 in 10)")
