"""Jobs: one device on the bench each, from intake to handover, folded from its events."""

from wakerail.jobs.book import JobBook
from wakerail.jobs.job import Happened, Job, JobState, Kept, NoteKept, fold

__all__ = ["Happened", "Job", "JobBook", "JobState", "Kept", "NoteKept", "fold"]
