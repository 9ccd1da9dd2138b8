"""The job book: what was asked, mixed, sprayed and read, so that it can be sprayed again."""

from __future__ import annotations

from fewtone.jobs.again import Again, KeptMatch, again, kept_matches, of_shelf
from fewtone.jobs.book import Book
from fewtone.jobs.job import Entry, Job, opened_job, recipe_entry
from fewtone.jobs.keep import keep_job, panel_entries
from fewtone.jobs.transfer import read_jobs, write_jobs

__all__ = [
    "Again",
    "Book",
    "Entry",
    "Job",
    "KeptMatch",
    "again",
    "keep_job",
    "kept_matches",
    "of_shelf",
    "opened_job",
    "panel_entries",
    "read_jobs",
    "recipe_entry",
    "write_jobs",
]
