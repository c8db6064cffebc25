"""The command line: ``boilwright COMMAND ...``; see :mod:`experiments.cli_parser`.

Exit codes: 0 done; 1 the answer is "no"; 2 bad input; 70 internal fault. Answers go to
standard output, errors to standard error in one sentence with a cure.
"""

from __future__ import annotations

import json
import logging
import os
import sys
import warnings
from argparse import Namespace
from collections.abc import Sequence

from experiments.cli_parser import BAD_INPUT, build_parser

OK, NO, STOPPED, INTERNAL = 0, 1, 130, 70


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit code."""
    try:
        arguments = build_parser().parse_args(argv)
    except SystemExit as stop:
        return int(stop.code) if isinstance(stop.code, int) else BAD_INPUT
    _prepare()
    try:
        code = _carry_out(arguments)
        sys.stdout.flush()
        return code
    except BrokenPipeError:  # the reader closed the pipe, as `head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except KeyboardInterrupt:
        print("Stopped. What was confirmed before is saved.", file=sys.stderr)
        return STOPPED


def _carry_out(arguments: Namespace) -> int:
    from experiments import cli_output

    try:
        from experiments.cli_commands import COMMANDS

        reply = COMMANDS[arguments.command](arguments)
    except cli_output.Refusal as refusal:
        if arguments.json:
            print(_as_json(refusal.data))
        print(refusal, file=sys.stderr)
        return BAD_INPUT
    except (BrokenPipeError, KeyboardInterrupt):
        raise
    except Exception as error:  # noqa: BLE001 - the last resort of the program
        said = cli_output.faults_of(error)
        if said:
            print("\n".join(said), file=sys.stderr)
            return BAD_INPUT
        logging.getLogger("boilwright").error("internal fault", exc_info=error)
        first = (str(error).splitlines() or [""])[0]
        print(f"Internal fault ({type(error).__name__}: {first}). What was confirmed before is "
              "saved; please report this with the command you gave.", file=sys.stderr)
        return INTERNAL
    print(_as_json(reply.data) if arguments.json else reply.text)
    return OK if reply.is_yes else NO


def _as_json(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False)


def _prepare() -> None:
    """Keep logs and warnings off standard error unless asked for; survive any terminal."""
    logger = logging.getLogger("boilwright")
    if os.environ.get("BOILWRIGHT_LOG"):
        from experiments import logs

        logs.configure()
    elif not logger.handlers:
        logger.addHandler(logging.NullHandler())
        logger.propagate = False
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")


if __name__ == "__main__":
    sys.exit(main())
