"""The setup sheet: one page, whole in itself, that a maker can stand at the machine with."""

from pathgen.report.sheet.page import pictures, setup_sheet

__all__ = ["pictures", "setup_sheet"]
