"""How sure the curves are, and fits of films, in a file named after its ``curves.csv``.

``uncertainty-`` and the first digits of the SHA-256 of ``curves.csv``, ``.npz``: it is written
before its curves, which come last and are what counts, and beside other curves it is not found.
So the two are one commit: whenever writing stops, the curves that stand there have theirs.

Standard deviations are stored in single precision: they need no more. Fits of films, which searches
bound colours by, are stored as they are, each with the digest of all that it follows from.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from fewtone.io.atomic import write_atomic
from fewtone.io.files import read_bytes
from fewtone.model.curves import Curves
from fewtone.model.film_fit import FilmFit
from fewtone.model.uncertainty import ARRAYS, Uncertainty
from fewtone.typing import FloatArray, IntArray

__all__ = [
    "load_uncertainty",
    "remove_other_uncertainties",
    "save_uncertainty",
    "uncertainty_file",
]

# 3: black, index, edge, letdown and thinning deviate too.
FORMAT = 3
_NAME = "uncertainty-{}.npz"
_NEW = "feared"  # not in files of earlier versions
_FITS = ("fit_digests", "fit_shares", "fit_errors")
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


def save_uncertainty(folder: Path, curves: Curves, curves_text: bytes) -> None:
    """Write how sure the curves are, and their fits, whole or not at all; what stands there stays.

    Parameters
    ----------
    folder
        The shelf's folder.
    curves
        Their uncertainty, and the fits of films over their grounds, are written; nothing where the
        former is not known.
    curves_text
        The ``curves.csv`` that it belongs to, whole.

    Raises
    ------
    FewtoneError
        The folder cannot be written to.
    """
    uncertainty, fits = curves.uncertainty, curves.fits
    if uncertainty is None:
        return
    data = io.BytesIO()
    np.savez_compressed(
        data,
        format=np.array(FORMAT),
        model_sd=np.array(uncertainty.model_sd),
        lasting=np.array(uncertainty.lasting),
        key_strength=uncertainty.key_strength.astype(np.float32),
        apart=np.array(uncertainty.apart),
        **{name: getattr(uncertainty, name).astype(np.float32) for name in ARRAYS},
        fit_digests=np.array([list(digest) for digest in fits], dtype=np.uint8),
        fit_shares=np.array([fit.shares for fit in fits.values()]),
        fit_errors=np.array([fit.error for fit in fits.values()]),
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


def load_uncertainty(folder: Path, curves_text: bytes, curves: Curves) -> Curves:
    """Read how sure these curves are, and their fits of films.

    Where nothing belongs to them, or it is damaged, they are as they were: the curves still hold,
    only how sure they are is not known, and fits are made anew.

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
        return curves
    try:
        # Read first: a file that is no archive would be left open.
        content = io.BytesIO(read_bytes(file))
        with zipfile.ZipFile(content) as archive:
            if sum(item.file_size for item in archive.infolist()) > _LARGEST:
                return curves
        with np.load(content, allow_pickle=False) as data:
            if int(data["format"]) != FORMAT:
                return curves
            names = [name for name in ARRAYS if name != _NEW or name in data.files]
            arrays = {name: data[name].astype(np.float64) for name in names}
            uncertainty = Uncertainty(
                **arrays,
                model_sd=float(data["model_sd"]),
                lasting=int(data["lasting"]),
                key_strength=data["key_strength"].astype(np.float64),
                apart=int(data["apart"]),
            )
            fitted = "fit_digests" in data.files  # not in files of earlier versions
            fits = _film_fits(*(data[name] for name in _FITS)) if fitted else {}
    except Exception:  # numpy and zipfile raise many kinds over bytes that are none of theirs
        return curves
    if not _suits(uncertainty, curves):
        return curves
    return replace(curves, uncertainty=uncertainty, fits=fits)


def _film_fits(digests: IntArray, shares: FloatArray, errors: FloatArray) -> dict[bytes, FilmFit]:
    if not (np.isfinite(shares).all() and (shares >= 0.0).all() and (errors >= 0.0).all()):
        return {}
    return {
        digest.tobytes(): FilmFit(share, float(error))
        for digest, share, error in zip(digests, shares, errors, strict=True)
    }


def _suits(uncertainty: Uncertainty, curves: Curves) -> bool:
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
        (uncertainty.feared, (count,)),
    )
    return bool(
        all(array.shape == shape and np.isfinite(array).all() for array, shape in shapes)
        and np.isfinite(uncertainty.model_sd)
        and uncertainty.model_sd >= 0.0
        and (uncertainty.feared >= 0.0).all()
        and (uncertainty.feared <= 1.0).all()
        and 0 <= uncertainty.apart <= uncertainty.lasting <= count
    )
