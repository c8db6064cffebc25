"""The command line: `boilwright COMMAND ...`; see :mod:`experiments.cli_commands`.

Exit codes: 0 done; 1 the answer is "no"; 2 bad input; 70 internal fault. Errors are one
sentence with a cure on standard error.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from typing import Any

OK, NO, BAD_INPUT, INTERNAL = 0, 1, 2, 70


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> Any:
        self.exit(BAD_INPUT, f"{message[0].upper()}{message[1:]}. See `{self.prog} --help`.\n")


def build_parser() -> argparse.ArgumentParser:
    """The parser with every command."""
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument("--json", action="store_true", help="answer in JSON")
    common.add_argument("--store", metavar="URL", help="store: a path or a database URL")
    parser = _Parser(
        prog="boilwright", parents=[],
        description="Find, prove and document a vacuum-evaporation method in few bench trials.",
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND",
                                     parser_class=_Parser)

    def add(name: str, text: str) -> argparse.ArgumentParser:
        return commands.add_parser(name, help=text, description=text, parents=[common])

    one = add("new", "start a dossier from a job file")
    one.add_argument("job", help="job file (TOML)")
    one.add_argument("--id", help="a short name to call the dossier by (default: made up)")
    one = add("window", "what physics allows before any trial")
    one.add_argument("source", metavar="JOB|DOSSIER")
    one = add("simulate", "one predicted run")
    one.add_argument("source", metavar="JOB|DOSSIER")
    for flag in ("--set-temperature-c", "--ramp-rate-mbar-per-min", "--end-pressure-mbar"):
        one.add_argument(flag, type=float, required=True)
    for flag in ("--keeper-volume-ml", "--end-volume-ml", "--end-point-hold-min"):
        one.add_argument(flag, type=float)
    one.add_argument("--keeper")
    one = add("propose", "trials worth running next")
    one.add_argument("dossier")
    one.add_argument("-n", type=int, default=None, help="how many (default: the job's batch)")
    one.add_argument("-o", "--output", help="bench sheet to write: .csv, .xlsx or .pdf")
    one = add("record", "take a filled trial table, whole or not at all")
    one.add_argument("dossier")
    one.add_argument("table", help="CSV or XLSX; - for standard input")
    one = add("recommend", "the fastest setting at the asked assurance")
    one.add_argument("dossier")
    one.add_argument("--fastest", action="store_true",
                     help="without moving inwards for the equipment's tolerance")
    one = add("verify", "check the confirmation runs against written criteria")
    one.add_argument("dossier")
    one.add_argument("table", nargs="?", help="filled table of confirmation runs")
    one = add("report", "write the justification")
    one.add_argument("dossier")
    one.add_argument("-o", "--output", required=True, help=".pdf, .html, .xlsx or .docx")
    one = add("compare", "differences between trials, or between dossiers")
    one.add_argument("dossier")
    one.add_argument("others", nargs="*", metavar="TRIAL|DOSSIER")
    add("list", "all dossiers")
    one = add("export", "write a dossier to one file")
    one.add_argument("dossier")
    one.add_argument("-o", "--output", required=True)
    one = add("import", "read a dossier from such a file")
    one.add_argument("file")
    add("audit", "verify the history of every dossier")
    one = add("substance", "property values with their sources")
    one.add_argument("name")
    one.add_argument("--temperature-c", type=float, default=25.0)
    one = add("mixture", "bubble point, vapour and azeotrope of a mixture")
    one.add_argument("parts", nargs="+", metavar='NAME=MOLE_FRACTION')
    one.add_argument("--pressure-mbar", type=float, default=1013.25)
    one = add("benchmark", "play simulated benches against other strategies")
    one.add_argument("--quick", action="store_true", help="a few minutes")
    one.add_argument("--benches", type=int, default=10)
    one.add_argument("--dask", metavar="ADDRESS", help="an existing Dask cluster")
    one = add("example", "load the example dossiers into the store")
    one.add_argument("name", nargs="?")
    add("doctor", "check the store, properties, fonts and renderers")
    one = add("app", "open the wizard in the browser")
    one.add_argument("--port", type=int, default=8501)
    one.add_argument("--no-browser", action="store_true")
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit code."""
    from experiments import cli_commands
    from experiments.cli_output import UserFault, faults_of

    parser = build_parser()
    try:
        arguments = parser.parse_args(argv)
    except SystemExit as stop:
        return int(stop.code) if isinstance(stop.code, int) else BAD_INPUT
    try:
        reply = cli_commands.COMMANDS[arguments.command](arguments)
        print(json.dumps(reply.data, ensure_ascii=False, allow_nan=False)
              if arguments.json else reply.text)
        return OK if reply.is_yes else NO
    except KeyboardInterrupt:
        print("Stopped; nothing was saved after the last confirmed step.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        return OK
    except Exception as error:  # noqa: BLE001 - the last resort of the program
        faults = faults_of(error)
        if faults:
            print("\n".join(faults), file=sys.stderr)
            return BAD_INPUT
        if isinstance(error, UserFault):
            print(str(error), file=sys.stderr)
            return BAD_INPUT
        print(f"Internal fault ({type(error).__name__}: {error}). Nothing was saved; please "
              "report it with the command you gave.", file=sys.stderr)
        return INTERNAL


if __name__ == "__main__":
    sys.exit(main())
