"""Entry of the command line: commands, exit codes, one sentence for every failure.

Exit codes: 0 nothing blocks (parts may be held back), 1 a finding blocks, 2 wrong use, 3 an input
cannot be read, 4 a result cannot be written or a resource ran out, 130 interrupted; 70 is a defect
of this program itself.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable

import typer
from typer.exceptions import TyperException

from kerfwright.cli import demo, jobs, sheets
from kerfwright.errors import KerfwrightError

INTERRUPTED, WRONG_USE, OUT_OF_RESOURCES, DEFECT = 130, 2, 4, 70

app = typer.Typer(
    name="kerfwright",
    help="Plan, check and hand over jobs for multi-head flatbed cutting tables.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,  # units stand in brackets
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(asked: bool) -> None:
    if asked:
        from kerfwright import __version__

        typer.echo(f"kerfwright {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    _: bool = typer.Option(False, "--version", callback=_version, is_eager=True, help="Version."),
) -> None:
    """Plan, check and hand over jobs for multi-head flatbed cutting tables."""


app.command("new")(jobs.new)
app.command("check")(jobs.check)
app.command("layout")(sheets.layout)
app.command("look")(sheets.look)
app.command("fit")(sheets.fit)
app.command("plan")(jobs.plan)
app.command("verify")(jobs.verify)
app.command("handover")(jobs.handover)
app.command("demo")(demo.demo)


def main() -> None:
    """Run the command line and leave with a documented exit code."""
    sys.exit(_guarded(lambda: app(standalone_mode=False)))


def _guarded(run: Callable[[], object]) -> int:
    try:
        code = run()
    except typer.Exit as stop:
        return stop.exit_code
    except TyperException as error:
        return _say(f"{error.format_message()} Try --help.", WRONG_USE)
    except (KeyboardInterrupt, typer.Abort):
        return _say("interrupted; finished stages are kept", INTERRUPTED)
    except KerfwrightError as error:
        return _say(str(error), error.exit_code)
    except MemoryError:
        return _say("out of memory; close other programs or split the job", OUT_OF_RESOURCES)
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except Exception as error:  # noqa: BLE001 - the last door: a person gets a sentence
        where = _innermost(error)
        return _say(f"a defect of kerfwright: {type(error).__name__}: {error} ({where})", DEFECT)
    return code if isinstance(code, int) else 0


def _innermost(error: BaseException) -> str:
    trace = error.__traceback__
    place = ""
    while trace is not None:
        code = trace.tb_frame.f_code
        place = f"{code.co_filename.rsplit('/', 1)[-1]}:{trace.tb_lineno} in {code.co_name}"
        trace = trace.tb_next
    return place


def _say(sentence: str, code: int) -> int:
    if "--json" in sys.argv:
        typer.echo(json.dumps({"error": sentence, "exit_code": code}))
    typer.echo(f"kerfwright: {sentence}", err=True)
    return code


if __name__ == "__main__":
    main()
