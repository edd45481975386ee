"""Verification: material removed by the text of the programs alone, compared with the part."""

from pathgen.verify.check import Verification, together_findings, verify, verify_all, verify_once
from pathgen.verify.findings import Finding, Tolerances
from pathgen.verify.scallops import ScallopCheck

__all__ = ["Finding", "ScallopCheck", "Tolerances", "Verification", "together_findings", "verify", "verify_all",
           "verify_once"]
