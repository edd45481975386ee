"""A flat sheet that the pieces let into a part are cut from."""
