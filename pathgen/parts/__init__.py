"""What is made: one folder for each kind of part."""
