"""Jobs to a file and back, as JSON or CSV; both come back equal.

JSON is one document: the jobs with their entries, and the ``curves.csv`` of each by its hash. CSV
has one row for each job (kind ``opened``), one for each of its entries below it, and one for each
``curves.csv`` (kind ``curves``, compressed, as letters and digits). What a spreadsheet would take
for a formula is made inert and comes back whole.
"""

from __future__ import annotations

import base64
import binascii
import csv
import hashlib
import io
import json
import zlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fewtone.errors import Fault, FewtoneError
from fewtone.io.atomic import refuse_to_overwrite, write_atomic
from fewtone.io.files import decode, read_bytes
from fewtone.io.table import inert
from fewtone.jobs.job import Job, job_from

__all__ = ["job_document", "read_jobs", "write_jobs"]

FORMAT = 1
_COLUMNS = (
    "job", "at", "kind", "request", "L", "a", "b", "light", "geometry", "tolerance", "shelf",
    "readings_sha256", "curves_sha256", "data",
)  # fmt: skip
_MOST_BYTES = 500_000_000


def write_jobs(
    path: Path, jobs: Sequence[Job], curves: Mapping[str, bytes], *, force: bool = False
) -> None:
    """Write jobs to a ``.json`` or ``.csv`` file, whole or not at all.

    Parameters
    ----------
    path
        The file; its ending says the format.
    jobs, curves
        What to write, and the ``curves.csv`` of each by its hash.
    force
        Write over a file that is there.

    Raises
    ------
    FewtoneError
        The ending is neither, the file is there, or it cannot be written.
    """
    writer = _by_ending(path, {".json": _json_bytes, ".csv": _csv_bytes})
    if not force:
        refuse_to_overwrite([path])
    write_atomic(path, writer(jobs, {key: curves[key] for key in sorted(curves)}))


def read_jobs(path: Path) -> tuple[list[Job], dict[str, bytes]]:
    """Read jobs and their curves from a file that `write_jobs` wrote; `path` is that file.

    Raises
    ------
    FewtoneError
        The file is not such a one: everything that is wrong in it.
    """
    reader = _by_ending(path, {".json": _from_json, ".csv": _from_csv})
    data = read_bytes(path, _MOST_BYTES)
    documents, curves = reader(decode(data, path.name), path)
    faults: list[Fault] = []
    jobs = [
        job
        for number, document in enumerate(documents, start=1)
        if (job := _job(document, f"{path.name}, job {number}", faults)) is not None
    ]
    faults += [
        Fault("The curves do not have the hash they go by.", file=path.name, value=key)
        for key, text in curves.items()
        if hashlib.sha256(text).hexdigest() != key
    ]
    faults += [
        Fault(f"The curves of job '{job.name}' are missing.", "Export it anew.", file=path.name)
        for job in jobs
        if job.curves_sha256 not in curves
    ]
    if faults:
        raise FewtoneError(*faults)
    return jobs, curves


def job_document(job: Job) -> dict[str, Any]:
    """A job as JSON has it; `job` is the job."""
    return {
        "name": job.name,
        "opened": job.opened,
        "request": job.target.request,
        "lab": list(job.target.lab),
        "light": str(job.target.light),
        "geometry": str(job.target.geometry),
        "tolerance": job.tolerance,
        "shelf": job.shelf,
        "readings_sha256": job.readings_sha256,
        "curves_sha256": job.curves_sha256,
        "entries": [
            {"at": entry.at, "kind": entry.kind, "data": dict(entry.data)} for entry in job.entries
        ],
    }


def _by_ending(path: Path, by: Mapping[str, Any]) -> Any:
    handler = by.get(path.suffix.lower())
    if handler is None:
        raise FewtoneError(
            Fault(
                "Jobs are exported as JSON or CSV.",
                fix="Give the file a name that ends in .json or .csv.",
                value=str(path),
            )
        )
    return handler


def _json_bytes(jobs: Sequence[Job], curves: Mapping[str, bytes]) -> bytes:
    document = {
        "format": FORMAT,
        "jobs": [job_document(job) for job in jobs],
        "curves": {key: text.decode() for key, text in curves.items()},
    }
    return (json.dumps(document, ensure_ascii=False, indent=1) + "\n").encode()


def _from_json(text: str, path: Path) -> tuple[list[Any], dict[str, bytes]]:
    try:
        document = json.loads(text)
        if document["format"] != FORMAT:
            raise ValueError(f"format {document['format']} is not {FORMAT}")
        curves = {str(key): str(value).encode() for key, value in document["curves"].items()}
        return list(document["jobs"]), curves
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise FewtoneError(_no_jobs(path, str(error))) from None


def _csv_bytes(jobs: Sequence[Job], curves: Mapping[str, bytes]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_COLUMNS)

    def row(cells: Mapping[str, object]) -> None:
        # Numbers are no text: a minus sign before them is no formula.
        writer.writerow(
            [
                _inactive(cell) if isinstance(cell := cells.get(name, ""), str) else cell
                for name in _COLUMNS
            ]
        )

    for job in jobs:
        lightness, a, b = job.target.lab
        document = job_document(job)
        row(
            {
                **{name: document[name] for name in ("request", "light", "geometry", "tolerance")},
                **{name: document[name] for name in ("shelf", "readings_sha256", "curves_sha256")},
                **{"job": job.name, "at": job.opened, "kind": "opened"},
                **{"L": lightness, "a": a, "b": b},
            }
        )
        for entry in job.entries:
            data = json.dumps(dict(entry.data), ensure_ascii=False)
            row({"job": job.name, "at": entry.at, "kind": entry.kind, "data": data})
    for key, curve in curves.items():
        packed = base64.b64encode(zlib.compress(curve, 9)).decode()
        row({"kind": "curves", "curves_sha256": key, "data": packed})
    return text.getvalue().encode("utf-8-sig")


def _from_csv(text: str, path: Path) -> tuple[list[Any], dict[str, bytes]]:
    documents: list[dict[str, Any]] = []
    curves: dict[str, bytes] = {}
    csv.field_size_limit(2**31 - 1)
    try:
        rows = csv.DictReader(io.StringIO(text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}")))
        if tuple(rows.fieldnames or ()) != _COLUMNS:
            raise ValueError("its columns are others")
        for cells in rows:
            row_cells = {name: _active(cell) for name, cell in cells.items()}
            if row_cells["kind"] == "opened":
                documents.append(
                    {
                        **row_cells,
                        "name": row_cells["job"],
                        "opened": row_cells["at"],
                        "lab": [float(row_cells[name]) for name in ("L", "a", "b")],
                        "tolerance": float(row_cells["tolerance"]),
                        "entries": [],
                    }
                )
            elif row_cells["kind"] == "curves":
                packed = base64.b64decode(row_cells["data"], validate=True)
                curves[row_cells["curves_sha256"]] = zlib.decompressobj().decompress(
                    packed, _MOST_BYTES
                )
            else:
                if not documents or documents[-1]["name"] != row_cells["job"]:
                    raise ValueError(f"row {rows.line_num} belongs to no job above it")
                documents[-1]["entries"].append(
                    {
                        "at": row_cells["at"],
                        "kind": row_cells["kind"],
                        "data": json.loads(row_cells["data"]),
                    }
                )
    except (ValueError, KeyError, TypeError, csv.Error, zlib.error, binascii.Error) as error:
        raise FewtoneError(_no_jobs(path, str(error))) from None
    return documents, curves


def _inactive(text: str) -> str:
    """Text for a cell, inert, that `_active` gives back whatever it is."""
    return f"'{text}" if text.startswith("'") else inert(text)


def _active(cell: object) -> str:
    """A cell as it was before `_inactive`."""
    if not isinstance(cell, str):
        raise TypeError("a row has too few or too many cells")
    return cell.removeprefix("'")


def _no_jobs(path: Path, why: str) -> Fault:
    return Fault(
        f"This file does not hold jobs as `fewtone job export` writes them ({why}).",
        fix="Export them anew.",
        file=str(path),
    )


def _job(document: Any, where: str, faults: list[Fault]) -> Job | None:
    try:
        return job_from(document)
    except FewtoneError as error:
        faults += [
            Fault(fault.message, fault.fix, file=where, value=fault.value) for fault in error.faults
        ]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        faults.append(Fault(f"This is no job: {error}.", fix="Export it anew.", file=where))
    return None
