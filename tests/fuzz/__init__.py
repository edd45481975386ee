"""Inputs made by chance from a seed, to see that none of them makes the program fail, hang or lie."""
