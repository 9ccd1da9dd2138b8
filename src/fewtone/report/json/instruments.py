"""What was taken from an instrument's file, as a JSON document."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fewtone.report.json.recipes import FORMAT, Document

if TYPE_CHECKING:
    from fewtone.io.instruments.take import Taken

__all__ = ["take_document"]


def take_document(taken: Taken) -> Document:
    """The answer of `take`."""
    return {
        "format": FORMAT,
        "file": str(taken.file),
        "kind": taken.kind,
        "readings": str(taken.readings_file),
        "written": taken.written,
        "samples": [
            {"sample": one.sample, "what": one.what, "panel": one.panel, "row": one.row}
            for one in taken.placed
        ],
        "left_out": list(taken.left_out),
        "columns_added": list(taken.columns_added),
        "cautions": list(taken.cautions),
    }
