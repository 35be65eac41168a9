"""What a material is: complex modulus, shift laws, hardness, low-temperature indices."""
