"""The setup sheet: one page, whole in itself, that a maker can stand at the machine with."""
