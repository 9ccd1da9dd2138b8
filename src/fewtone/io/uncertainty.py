"""How sure the curves are, in a file whose name says which ``curves.csv`` it belongs to.

``uncertainty-`` and the first digits of the SHA-256 of ``curves.csv``, ``.npz``: it is written
before its curves, which come last and are what counts, and beside other curves it is not found.
So the two are one commit: whenever writing stops, the curves that stand there have theirs.

Arrays are stored in single precision: a standard deviation needs no more.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import zipfile
from pathlib import Path

import numpy as np

from fewtone.io.atomic import write_atomic
from fewtone.io.files import read_bytes
from fewtone.model.curves import Curves
from fewtone.model.uncertainty import ARRAYS, Uncertainty

__all__ = [
    "load_uncertainty",
    "remove_other_uncertainties",
    "save_uncertainty",
    "uncertainty_file",
]

# 3: black, index, edge, letdown and thinning deviate too.
FORMAT = 3
_NAME = "uncertainty-{}.npz"
_LARGEST = 100_000_000  # bytes, unpacked; a shelf of thirty toners needs some millions


def uncertainty_file(folder: Path, curves_text: bytes) -> Path:
    """The file that says how sure the curves of this text are.

    Parameters
    ----------
    folder
        The shelf's folder.
    curves_text
        Its ``curves.csv``, whole.
    """
    return folder / _NAME.format(hashlib.sha256(curves_text).hexdigest()[:16])


def save_uncertainty(folder: Path, uncertainty: Uncertainty, curves_text: bytes) -> None:
    """Write how sure the curves are, whole or not at all; what stands there stays.

    Parameters
    ----------
    folder
        The shelf's folder.
    uncertainty
        What is written.
    curves_text
        The ``curves.csv`` that it belongs to, whole.

    Raises
    ------
    FewtoneError
        The folder cannot be written to.
    """
    data = io.BytesIO()
    np.savez_compressed(
        data,
        format=np.array(FORMAT),
        model_sd=np.array(uncertainty.model_sd),
        lasting=np.array(uncertainty.lasting),
        key_strength=uncertainty.key_strength.astype(np.float32),
        apart=np.array(uncertainty.apart),
        **{name: getattr(uncertainty, name).astype(np.float32) for name in ARRAYS},
    )
    write_atomic(uncertainty_file(folder, curves_text), data.getvalue())


def remove_other_uncertainties(folder: Path, curves_text: bytes) -> None:
    """Remove what belonged to curves that do not stand there any more.

    Parameters
    ----------
    folder
        The shelf's folder.
    curves_text
        Its ``curves.csv``, whole.
    """
    current = uncertainty_file(folder, curves_text)
    with contextlib.suppress(OSError):
        # Those of a killed writer too, which begin with a dot.
        for file in [*folder.glob(_NAME.format("*")), *folder.glob(f".{_NAME.format('*')}.*")]:
            if file.name != current.name:
                file.unlink()


def load_uncertainty(folder: Path, curves_text: bytes, curves: Curves) -> Uncertainty | None:
    """Read how sure these curves are; None where nothing belongs to them, or it is damaged.

    The curves still hold then; only how sure they are is not known.

    Parameters
    ----------
    folder
        The shelf's folder.
    curves_text
        Its ``curves.csv``, whole.
    curves
        The same as they were read: shapes must fit.
    """
    file = uncertainty_file(folder, curves_text)
    if not file.exists():
        return None
    try:
        # Read first: a file that is no archive would be left open.
        stored = io.BytesIO(read_bytes(file))
        with zipfile.ZipFile(stored) as archive:
            if sum(item.file_size for item in archive.infolist()) > _LARGEST:
                return None
        with np.load(stored, allow_pickle=False) as data:
            if int(data["format"]) != FORMAT:
                return None
            arrays = {name: data[name].astype(np.float64) for name in ARRAYS}
            uncertainty = Uncertainty(
                **arrays,
                model_sd=float(data["model_sd"]),
                lasting=int(data["lasting"]),
                key_strength=data["key_strength"].astype(np.float64),
                apart=int(data["apart"]),
            )
    except Exception:  # numpy and zipfile raise many kinds over bytes that are none of theirs
        return None
    return uncertainty if _fits(uncertainty, curves) else None


def _fits(uncertainty: Uncertainty, curves: Curves) -> bool:
    toners, grounds = curves.absorption.shape, curves.ground_reflectance.shape
    count = len(uncertainty.return_ratio) if uncertainty.return_ratio.ndim else 0
    shapes = (
        (uncertainty.absorption, (count, *toners)),
        (uncertainty.scattering, (count, *toners)),
        (uncertainty.ground_reflectance, (count, *grounds)),
        (uncertainty.return_ratio, (count, grounds[0])),
        (uncertainty.black, (count,)),
        (uncertainty.index, (count,)),
        (uncertainty.edge, (count,)),
        (
            uncertainty.key_strength,
            (len(uncertainty.key_strength), grounds[0] if uncertainty.key_strength.size else 0),
        ),
        (uncertainty.letdown, (count, toners[0])),
        (uncertainty.thinning, (count,)),
    )
    return bool(
        all(array.shape == shape and np.isfinite(array).all() for array, shape in shapes)
        and np.isfinite(uncertainty.model_sd)
        and uncertainty.model_sd >= 0.0
        and 0 <= uncertainty.apart <= uncertainty.lasting <= count
    )
