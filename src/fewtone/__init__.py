"""fewtone finds the simplest translucent-colour recipe for a target, and says how sure it is.

>>> import fewtone
>>> recipe = fewtone.parse("2 marigold + 1 dusk, 6:1, 4 coats over silver")
>>> recipe.load
Fraction(4, 7)
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from fewtone.version import __version__

if TYPE_CHECKING:
    from fewtone.api import learn, load, new
    from fewtone.colorimetry import Light
    from fewtone.errors import Fault, FewtoneError, UsageError
    from fewtone.io.instruments.take import take
    from fewtone.model.recipe import Recipe, parse
    from fewtone.model.target import Target
    from fewtone.shelf import Shelf

__all__ = [
    "Fault",
    "FewtoneError",
    "Light",
    "Recipe",
    "Shelf",
    "Target",
    "UsageError",
    "__version__",
    "learn",
    "load",
    "new",
    "parse",
    "take",
]

_HOMES = {
    "Fault": "errors",
    "FewtoneError": "errors",
    "Light": "colorimetry",
    "Recipe": "model.recipe",
    "Shelf": "shelf",
    "Target": "model.target",
    "UsageError": "errors",
    "learn": "api",
    "load": "api",
    "new": "api",
    "parse": "model.recipe",
    "take": "io.instruments.take",
}


def __dir__() -> list[str]:
    return __all__


def __getattr__(name: str) -> Any:
    # Names are fetched from their rooms on first use, so that `import fewtone` stays quick.
    if name not in _HOMES:
        raise AttributeError(f"module 'fewtone' has no attribute '{name}'")
    value = getattr(import_module(f"fewtone.{_HOMES[name]}"), name)
    globals()[name] = value
    return value
