SELECT stiffness_n_per_mm + (next_stiffness - stiffness_n_per_mm) * (-5.5 - temperature_c) / (next_c - temperature_c) AS n_per_mm,
       damping_ratio + (next_damping - damping_ratio) * (-5.5 - temperature_c) / (next_c - temperature_c) AS damping_ratio
FROM published_stiffness_step
WHERE part = 'ring 16x6x5' AND axis = 'axial' AND given_hz = 30 AND temperature_c <= -5.5 AND -5.5 < next_c;
