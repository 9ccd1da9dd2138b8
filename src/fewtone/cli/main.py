"""The one door of the command line: commands, exit codes, and no traceback ever.

Exit codes: 0 done, 1 the user's data is wrong, 2 wrong usage, 3 done but nothing within
tolerance, 4 a fault of ours, 130 interrupted.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated

import typer

from fewtone.cli.door import (
    OutputError,
    changes,
    document_is_out,
    hold_streams,
    opened,
    to_stderr,
    to_stdout,
)
from fewtone.cli.examples import HELP, epilog_of
from fewtone.errors import Fault, FewtoneError, UsageError, printable
from fewtone.io.atomic import files_written
from fewtone.io.interrupts import interrupted
from fewtone.version import __version__

__all__ = ["application", "main"]

_COMMANDS = (
    "new",
    "take",
    "learn",
    "match",
    "check",
    "compare",
    "simplify",
    "letdown",
    "batch",
    "adjust",
    "bottle",
    "sheet",
    "label",
    "deck",
    "reach",
    "board",
)
_INTERRUPTED = 130
_GROUPS = {"job": "The job book: keep, find and mix again."}


def application(words: Sequence[str] = ()) -> typer.Typer:
    """The program: with the command that is asked for alone, or with all.

    Parameters
    ----------
    words
        The arguments. If the first is a command's name only that command is imported and built:
        all of them together take as long as a recipe's check does.
    """
    app = typer.Typer(
        name="fewtone",
        help=(
            "Finds the simplest translucent-colour recipe for a target: the fewest toners, at a "
            "whole-number ratio, letdown, coats and ground, and how sure that is."
        ),
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_fewtone)
    if list(words) == ["--version"]:
        return app
    known = (*_COMMANDS, *_GROUPS)
    for name in words[:1] if words and words[0] in known else known:
        function = getattr(import_module(f"fewtone.cli.{name}"), name)
        if name in _GROUPS:
            app.add_typer(function, short_help=_GROUPS[name])
        else:
            about = HELP[name]
            app.command(short_help=about.summary, epilog=epilog_of(about.example))(function)
    return app


def _version(wanted: bool) -> None:
    if wanted:
        to_stdout(f"fewtone {__version__}\n")
        raise typer.Exit


def _fewtone(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    pass


def main(arguments: list[str] | None = None) -> None:
    """Run a command and exit with its code."""
    words = sys.argv[1:] if arguments is None else arguments
    hold_streams()
    with opened():
        try:
            code = _run(words)
            try:
                to_stdout("")
            except OutputError as error:
                code = code or _show(error, as_json=False)
        except KeyboardInterrupt:  # between the command's end and that of the program
            code = _interrupted()
    sys.exit(code)


def _options(words: list[str]) -> list[str]:
    """The words before `--`, behind which all is text; where it is no option's value itself."""
    before = ("", *words)
    ends = (n for n, word in enumerate(words) if word == "--" and not before[n].startswith("-"))
    return words[: next(ends, len(words))]


def _run(words: list[str]) -> int:
    as_json = "--json" in _options(words)
    try:
        code = application(words)(args=words, prog_name="fewtone", standalone_mode=False)
    except typer.TyperException as error:
        if error.__class__.__name__ == "NoArgsIsHelpError":
            to_stdout(error.format_message() + "\n")
            return 0
        fault = Fault(error.format_message(), "Run `fewtone --help` or `fewtone COMMAND --help`.")
        return _show(UsageError(fault), as_json)
    except FewtoneError as error:
        return _show(error, as_json)
    except (KeyboardInterrupt, typer.Abort):
        code = _INTERRUPTED
    except (BrokenPipeError, SystemExit):
        return 0  # the reader of a help text is gone: nothing more to say
    except OSError as error:
        return _show(_refusal(error), as_json)
    except Exception as error:  # the last door: a user never sees a traceback
        if not interrupted():  # some imports make another exception of an interrupt
            return _show(_internal_fault(error, words), as_json, code=4)
        code = _INTERRUPTED
    if code == _INTERRUPTED:  # also where typer made the exception an exit code
        return _interrupted()
    return code if isinstance(code, int) else 0


def _interrupted() -> int:
    to_stderr(f"Interrupted. {printable(changes())}\n")
    return _INTERRUPTED


def _show(error: FewtoneError, as_json: bool, *, code: int | None = None) -> int:
    from fewtone.cli.console import print_document, print_faults
    from fewtone.cli.wording import with_options
    from fewtone.report.json import fault_document

    faults = [with_options(fault) for fault in error.faults]
    if as_json and not document_is_out():
        try:
            print_document(fault_document(faults))
        except OutputError as lost:
            print_faults(lost.faults)
    print_faults(faults)
    if isinstance(error, OutputError) or files_written():
        to_stderr(f"{printable(changes())}\n")
    return error.exit_code if code is None else code


def _refusal(error: OSError) -> FewtoneError:
    """What the operating system would not do, as the user's to mend."""
    name = error.filename
    if isinstance(name, bytes):
        name = os.fsdecode(name)
    return FewtoneError(
        Fault(
            f"The system refused: {error.strerror or error}.",
            fix="Check the name, the rights and the room on the disk, then run the command again.",
            file=name if isinstance(name, str) else None,
        )
    )


def _internal_fault(error: Exception, words: list[str]) -> FewtoneError:
    """Write the traceback to a file and say where."""
    import traceback

    from fewtone.io.fault_report import write_fault_report

    report_file = write_fault_report(f"arguments: {words}", traceback.format_exception(error))
    what = f"{type(error).__name__}: {error}"[:500]
    return FewtoneError(
        Fault(
            f"This is a fault of fewtone, not of your data ({what}).",
            fix=f"Please pass the report on. {changes()}",
            file=report_file,
        )
    )
