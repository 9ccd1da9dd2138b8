"""Where files stand that belong to the user and to no shelf."""

from __future__ import annotations

import os
from pathlib import Path

__all__ = ["default_book"]


def default_book() -> Path:
    """The file that the job book is in: ``$FEWTONE_BOOK``, else in the user's data folder."""
    if named := os.environ.get("FEWTONE_BOOK"):
        return Path(named)
    from platformdirs import user_data_path

    return user_data_path("fewtone") / "jobs.db"
