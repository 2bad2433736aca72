"""The command line: reads options, calls the front doors, prints; no analysis here.

Exit codes: 0 done, whatever the verdict; 2 something stated or a file cannot be, said in
one line; 1 an unexpected fault of the program; 130 stopped with Ctrl-C.
"""

from __future__ import annotations

import os
import re
import sys
from typing import Annotated, Any

import typer

from chatter import __version__
from chatter.cli.batch import batch_command
from chatter.cli.compare import compare_command
from chatter.cli.demo import demo_command
from chatter.cli.help import help_command
from chatter.cli.listen import listen_command
from chatter.cli.log import log_app
from chatter.cli.page import page_command
from chatter.cli.plan import plan_command
from chatter.cli.runin import runin_app
from chatter.cli.tap import tap_command
from chatter.cli.terminal import settle_streams
from chatter.errors import ChatterError
from chatter.threads import one_thread_from_here

app = typer.Typer(
    name="chatter",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"chatter {__version__}")
        raise typer.Exit()


@app.callback()
def _chatter(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Print the version."),
    ] = False,
) -> None:
    """Hear what a cut is doing: from a phone recording to a verdict and what to do next.

    Start with: chatter demo. Then: chatter listen slot-3.m4a --rpm 57 --teeth 48

    The manual: chatter help

    Exit codes: 0 done (whatever the verdict), 2 bad input, 1 unexpected fault.
    """


app.command("listen")(listen_command)
app.command("demo")(demo_command)
app.command("compare")(compare_command)
app.command("plan")(plan_command)
app.command("tap")(tap_command)
app.add_typer(log_app, name="log")
app.command("batch")(batch_command)
app.command("page")(page_command)
app.add_typer(runin_app)
app.command("help")(help_command)


#: What the option reader says of a wrong value, and the same for people.
_PLAINLY = {
    r"Got unexpected extra arguments?(?:\(s\))? \((.*)\)": r"Unexpected words: \1",
    r": Input should be a valid number, .*": ": it must be a number, such as 12.5",
    r": Input should be a valid integer, .*": ": it must be a whole number, such as 12",
    r": Input should be (less|greater) than or equal to": r": it must be \1 than or equal to",
}


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; what goes wrong is said in one line on standard error.

    Parameters
    ----------
    arguments : list of str, optional
        Without the program's name; ``sys.argv`` if left out.

    Returns
    -------
    int
        The exit code.
    """
    one_thread_from_here()
    given = sys.argv[1:] if arguments is None else arguments
    settle_streams()
    try:
        done = app(args=given or ["--help"], prog_name="chatter", standalone_mode=False)
        sys.stdout.flush()  # a reader that has left is met here, and not at the very end
    except ChatterError as wrong:
        return _say(str(wrong), wrong.exit_code)
    except (KeyboardInterrupt, typer.Abort):
        return _say("Stopped.", 130)
    except BrokenPipeError:  # the reader (head, less) has left
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as wrong:
        if hasattr(wrong, "format_message"):  # a usage error: unknown option, missing value
            return _say(_usage(wrong), 2)
        if os.environ.get("CHATTER_DEBUG") == "1":
            raise
        return _say(
            f"Something went wrong inside the program ({type(wrong).__name__}: {wrong}); "
            "run it again with CHATTER_DEBUG=1 set and report what it prints.",
            1,
        )
    if done == 130:  # typer turns Ctrl-C into this number
        return _say("Stopped.", 130)
    return done if isinstance(done, int) else 0


def _usage(wrong: Any) -> str:
    """What is wrong with the words typed, in full sentences, and whose help tells more."""
    said = " ".join(str(wrong.format_message()).split()).rstrip(".")
    for theirs, ours in _PLAINLY.items():
        said = re.sub(theirs, ours, said)
    context = getattr(wrong, "ctx", None)
    command = "chatter" if context is None else context.command_path
    mark = "" if said.endswith("?") else "."
    return f"{said}{mark} '{command} --help' lists what can be stated."


def _say(sentence: str, code: int) -> int:
    print(" ".join(sentence.split()), file=sys.stderr)
    return code


if __name__ == "__main__":
    sys.exit(main())
