"""The suspended mass: natural frequency, transmissibility, squeeze, rotor orders."""
