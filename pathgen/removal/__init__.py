"""What moves take from the material, from the moves alone."""
