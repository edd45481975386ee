"""The job file: read whole, checked whole, before anything is planned."""

from pathgen.job.load import Job, load_job

__all__ = ["Job", "load_job"]
