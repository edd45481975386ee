"""The job file: read whole, checked whole, before anything is planned."""

from pathgen.job.job import Job
from pathgen.job.load import load_job

__all__ = ["Job", "load_job"]
