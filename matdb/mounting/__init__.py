"""The suspended mass: natural frequency, transmissibility, six axes, squeeze, rotor orders."""
