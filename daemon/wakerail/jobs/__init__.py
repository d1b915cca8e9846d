"""Jobs: one device on the bench each, from intake to handover, folded from its events."""

from wakerail.jobs.book import JobBook
from wakerail.jobs.job import Job, JobState, NoteKept, fold

__all__ = ["Job", "JobBook", "JobState", "NoteKept", "fold"]
