"""The command line: each command parses, makes one call into the library, and renders."""

from fewtone.cli.main import main

__all__ = ["main"]
