"""Verification: material removed by the text of the programs alone, compared with the part."""

from pathgen.verify.check import Verification, verify
from pathgen.verify.findings import Finding, Tolerances

__all__ = ["Finding", "Tolerances", "Verification", "verify"]
