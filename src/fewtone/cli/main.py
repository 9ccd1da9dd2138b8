"""The one door of the command line: commands, exit codes, and no traceback ever.

Exit codes: 0 done, 1 the user's data is wrong, 2 wrong usage, 3 done but nothing within
tolerance, 4 a fault of ours, 130 interrupted.
"""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from fewtone.cli import (
    adjust,
    batch,
    bottle,
    check,
    learn,
    letdown,
    match,
    new,
    sheet,
    simplify,
    take,
)
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.version import __version__

__all__ = ["app", "main"]

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
for command in (
    new.new,
    take.take,
    learn.learn,
    match.match,
    check.check,
    simplify.simplify,
    letdown.letdown,
    batch.batch,
    adjust.adjust,
    bottle.bottle,
    sheet.sheet,
):
    app.command()(command)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"fewtone {__version__}")
        raise typer.Exit


@app.callback()
def _fewtone(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    pass


def main(arguments: list[str] | None = None) -> None:
    """Run a command and exit with its code."""
    words = sys.argv[1:] if arguments is None else arguments
    sys.exit(_run(words))


def _run(words: list[str]) -> int:
    as_json = "--json" in words
    try:
        code = app(args=words, prog_name="fewtone", standalone_mode=False)
    except typer.TyperException as error:
        if error.__class__.__name__ == "NoArgsIsHelpError":
            typer.echo(error.format_message())
            return 0
        fault = Fault(error.format_message(), "Run `fewtone --help` or `fewtone COMMAND --help`.")
        return _show(UsageError(fault), as_json)
    except FewtoneError as error:
        return _show(error, as_json)
    except (KeyboardInterrupt, typer.Abort):
        typer.echo("Interrupted; nothing was changed.", err=True)
        return 130
    except BrokenPipeError:
        sys.stdout = None  # the reader is gone: nothing more to say
        return 0
    except Exception as error:  # the last door: a user never sees a traceback
        return _show(_own_fault(error, words), as_json, code=4)
    return code if isinstance(code, int) else 0


def _show(error: FewtoneError, as_json: bool, *, code: int | None = None) -> int:
    from fewtone.cli.console import print_document, print_faults
    from fewtone.report.json import fault_document

    if as_json:
        print_document(fault_document(error.faults))
    print_faults(error.faults)
    return error.exit_code if code is None else code


def _own_fault(error: Exception, words: list[str]) -> FewtoneError:
    """Write the traceback to a file and say where."""
    import platform
    import tempfile
    import traceback

    report = [f"fewtone {__version__}, Python {platform.python_version()}", f"arguments: {words}"]
    report += traceback.format_exception(error)
    with tempfile.NamedTemporaryFile(
        "w", prefix="fewtone-fault-", suffix=".txt", delete=False, encoding="utf-8"
    ) as file:
        file.write("\n".join(report))
    return FewtoneError(
        Fault(
            f"This is a fault of fewtone, not of your data ({type(error).__name__}: {error}).",
            fix="Please pass the report on; your files are as they were.",
            file=file.name,
        )
    )
