"""The job book: what was asked, mixed, sprayed and read, so that it can be sprayed again."""

from __future__ import annotations

from fewtone.jobs.again import Again, again
from fewtone.jobs.book import Book, default_book
from fewtone.jobs.job import Entry, Job, opened_job, recipe_entry
from fewtone.jobs.transfer import read_jobs, write_jobs

__all__ = [
    "Again",
    "Book",
    "Entry",
    "Job",
    "again",
    "default_book",
    "opened_job",
    "read_jobs",
    "recipe_entry",
    "write_jobs",
]
