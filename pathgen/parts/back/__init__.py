"""The back of a part: what is cut before the blank is turned over."""
