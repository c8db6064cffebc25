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
from pathlib import Path
from typing import TextIO

from experiments.cli_parser import BAD_INPUT, build_parser

OK, NO, STOPPED, INTERNAL = 0, 1, 130, 70


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit code."""
    _prepare()
    try:
        code = _run(argv)
        sys.stdout.flush()
        return code
    except BrokenPipeError:  # the reader closed the pipe, as `head` does
        _forget_rest(sys.stdout)
        return OK
    except OSError as error:  # such as a full disk under what the output is sent to
        _forget_rest(sys.stdout)
        _say(f"The answer could not be written ({error.strerror}); what the command did is "
             "saved. Send its output elsewhere.")
        return BAD_INPUT
    except KeyboardInterrupt:
        _say("Stopped. What was confirmed before is saved.")
        return STOPPED


def _run(argv: Sequence[str] | None) -> int:
    try:
        arguments = build_parser().parse_args(argv)
    except SystemExit as stop:
        return int(stop.code) if isinstance(stop.code, int) else BAD_INPUT
    return _carry_out(arguments)


def _say(text: str) -> None:
    """Lines on standard error; where they cannot be written the exit code says it alone."""
    try:
        print(text, file=sys.stderr, flush=True)
    except OSError:
        _forget_rest(sys.stderr)


def _forget_rest(stream: TextIO) -> None:
    """Drop what is still to be written, so that the end of the program does not fail on it."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _carry_out(arguments: Namespace) -> int:
    from experiments import cli_output

    try:
        from experiments.cli_commands import COMMANDS

        reply = COMMANDS[arguments.command](arguments)
    except cli_output.Refusal as refusal:
        if arguments.json:
            print(_as_json(refusal.data))
        _say(str(refusal))
        return BAD_INPUT
    except (BrokenPipeError, KeyboardInterrupt):
        raise
    except Exception as error:  # noqa: BLE001 - the last resort of the program
        said = cli_output.faults_of(error)
        if said:
            _say("\n".join(said))
            return BAD_INPUT
        logging.getLogger("boilwright").error("internal fault", exc_info=error)
        first = (str(error).splitlines() or [""])[0]
        _say(f"Internal fault ({type(error).__name__}: {first}). What was confirmed before is "
             "saved; please report this with the command you gave.")
        return INTERNAL
    print(_as_json(reply.data) if arguments.json else reply.text)
    return OK if reply.is_yes else NO


def _as_json(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False)


def _prepare() -> None:
    """Keep logs and warnings off standard error unless asked for; survive any terminal."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:  # closed by the caller, as by 2>&-
            nowhere = Path(os.devnull).open(mode, encoding="utf-8")  # noqa: SIM115 - kept open
            setattr(sys, name, nowhere)
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
