"""Part geometry: one file per form; stiffness per unit modulus."""
