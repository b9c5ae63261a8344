"""The `drybank` command: one word for each step of the job.

Every command imports its desk module when it runs, so that `drybank --help` answers at once.
Exit codes: 0 done, 2 something given is wrong, 3 there are findings, 1 a fault.
"""

from __future__ import annotations

import sys

import typer

app = typer.Typer(
    name="drybank",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Setting, proving, reading and accounting for coin-operated tumble dryers.",
    epilog="Begin with: drybank demo",
)


@app.callback(invoke_without_command=True)
def main(version: bool = typer.Option(False, "--version", help="Say which Drybank this is.")) -> None:
    """Setting, proving, reading and accounting for coin-operated tumble dryers."""
    if version:
        from importlib.metadata import version as installed

        typer.echo(f"drybank {installed('drybank')}")
        raise typer.Exit


def run() -> None:
    """Entry point: a fault becomes one plain sentence on standard error, never a traceback."""
    import drybank.cli.commands  # noqa: F401  (registers every command on `app`)
    from drybank.records.errors import DrybankError, InputError, Missing, OutOfRange

    try:
        app()
    except (InputError, OutOfRange, Missing) as wrong:
        _stop(wrong.sentence(), 2)
    except DrybankError as fault:
        _stop(fault.sentence(), 1)
    except (FileNotFoundError, PermissionError, IsADirectoryError) as fault:
        _stop(f"{fault.filename}: {fault.strerror}. Check the path and try again.", 2)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)


def _stop(sentence: str, code: int) -> None:
    from drybank.cli.say import complain

    if "--json" in sys.argv:
        import json

        sys.stdout.write(json.dumps({"error": sentence, "exit": code}, ensure_ascii=False) + "\n")
    complain(sentence)
    sys.exit(code)
