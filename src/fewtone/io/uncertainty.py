"""``uncertainty.npz``: how sure the curves are, beside the ``curves.csv`` that it belongs to.

It is no use without its curves, so it holds their SHA-256; beside other curves it counts for
nothing. Arrays are stored in single precision: a standard deviation needs no more.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
from pathlib import Path

import numpy as np

from fewtone.io.atomic import write_atomic
from fewtone.model.uncertainty import Uncertainty

__all__ = ["CERTAINTY_FILE", "load_uncertainty", "save_uncertainty"]

CERTAINTY_FILE = "uncertainty.npz"
FORMAT = 1
_ARRAYS = ("absorption", "scattering", "ground_reflectance", "return_ratio")


def save_uncertainty(folder: Path, uncertainty: Uncertainty, curves_text: bytes) -> None:
    """Write how sure the curves are, whole or not at all.

    Raises
    ------
    FewtoneError
        The folder cannot be written to.
    """
    data = io.BytesIO()
    np.savez_compressed(
        data,
        format=np.array(FORMAT),
        curves_sha256=np.array(hashlib.sha256(curves_text).hexdigest()),
        model_sd=np.array(uncertainty.model_sd),
        absorption=uncertainty.absorption.astype(np.float32),
        scattering=uncertainty.scattering.astype(np.float32),
        ground_reflectance=uncertainty.ground_reflectance.astype(np.float32),
        return_ratio=uncertainty.return_ratio.astype(np.float32),
    )
    write_atomic(folder / CERTAINTY_FILE, data.getvalue())


def load_uncertainty(folder: Path, curves_text: bytes) -> Uncertainty | None:
    """Read how sure these curves are; None where there is nothing that belongs to them."""
    try:
        # Read first: a file that is no archive would be left open.
        stored = io.BytesIO((folder / CERTAINTY_FILE).read_bytes())
        with np.load(stored, allow_pickle=False) as data:
            belongs = str(data["curves_sha256"]) == hashlib.sha256(curves_text).hexdigest()
            if int(data["format"]) != FORMAT or not belongs:
                return None
            arrays = {name: data[name].astype(np.float64) for name in _ARRAYS}
            return Uncertainty(**arrays, model_sd=float(data["model_sd"]))
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        # Missing or damaged: the curves still hold, only how sure they are is not known.
        return None
