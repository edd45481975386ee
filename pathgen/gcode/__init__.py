"""Plain G-code, by RS274/NGC (Kramer, Proctor, Messina: NISTIR 6556, 2000): a writer and a reader.

The two are strangers: neither imports the other, so that a mistake in one is seen by the other.
"""
