"""Formulas that the program does not need and its checks do, each from its textbook."""

import numpy as np


def viscous_transmissibility(damping_ratio, frequency_ratio):
    """|T| of a mass on a spring and a viscous damper; Den Hartog, Mechanical Vibrations, section 2.12 (memory)."""
    damper = (2.0 * np.asarray(damping_ratio) * frequency_ratio) ** 2
    return np.sqrt((1.0 + damper) / ((1.0 - np.asarray(frequency_ratio) ** 2) ** 2 + damper))


def rotor_speed_from_thrust(thrust_n, diameter_mm, thrust_coefficient=0.10, air_density_kg_m3=1.225):
    """Revolutions per second from T = C_T rho n^2 D^4; McCormick, Aerodynamics, Aeronautics and Flight Mechanics."""
    return np.sqrt(thrust_n / (thrust_coefficient * air_density_kg_m3 * (1e-3 * diameter_mm) ** 4))
