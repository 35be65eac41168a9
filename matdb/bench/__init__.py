"""What a reading at the bench says about the modulus."""
