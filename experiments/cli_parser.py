"""The words of the command line. Loads nothing heavy, so that ``--help`` answers at once."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import NoReturn

from experiments.job import DEFAULT_STEP, EXTRA_FACTORS, MAIN_FACTORS
from experiments.wording import capital

BAD_INPUT = 2
LAST_PORT = 65535
MEANT = {
    "job": "a job file (TOML)",
    "dossier": "the id of a dossier, as `boilwright list` shows it",
    "source": "a job file (TOML), or the id of a dossier",
    "trial": "the id of a trial, such as T3",
    "state": "such as recommended, approved or retired",
}
"""What the positional arguments of several commands are."""
FACTORS_MEANT = {
    "set_temperature_c": "of the heated wall, degC",
    "ramp_rate_mbar_per_min": "of the pressure, mbar a minute",
    "end_pressure_mbar": "absolute, mbar",
    "keeper_volume_ml": "of keeper in a vessel, mL",
    "end_volume_ml": "left in a vessel, mL",
    "end_point_hold_min": "of the end point, min",
    "keeper": "one of the keepers of the job",
}


def number(text: str) -> float:
    """A number of the command line, with a decimal point."""
    try:
        return float(text)
    except ValueError:
        raise _no_number(text, "a number, such as 45.5") from None


def whole(text: str) -> int:
    """A whole number of the command line."""
    try:
        return int(text)
    except ValueError:
        raise _no_number(text, "a whole number") from None


def port(text: str) -> int:
    """A port to listen on."""
    value = whole(text)
    if not 1 <= value <= LAST_PORT:
        raise _no_number(text, f"a port, 1 to {LAST_PORT}")
    return value


def _no_number(text: str, wanted: str) -> argparse.ArgumentTypeError:
    return argparse.ArgumentTypeError(f"{text[:40]!r} is not {wanted}")


class Parser(argparse.ArgumentParser):
    """A parser whose errors are one sentence with a cure."""

    def error(self, message: str) -> NoReturn:
        self.exit(BAD_INPUT, f"{capital(message)}. See `{self.prog} --help`.\n")


class _Commands:
    """Adds commands that share the common options."""

    def __init__(self, parser: argparse.ArgumentParser) -> None:
        self._actions = parser.add_subparsers(
            dest="command", required=True, metavar="COMMAND", parser_class=Parser
        )

    def add(self, name: str, text: str, *positional: str) -> argparse.ArgumentParser:
        """A command with its positional arguments; "source" may be a file or a dossier."""
        one = self._actions.add_parser(
            name, help=text, description=capital(text) + ".", allow_abbrev=False
        )
        _add_common(one, argparse.SUPPRESS)
        for word in positional:
            one.add_argument(word, metavar={"source": "JOB|DOSSIER"}.get(word, word.upper()),
                             help=MEANT.get(word))
        return one


def build_parser() -> argparse.ArgumentParser:
    """The parser with every command."""
    parser = Parser(
        prog="boilwright", allow_abbrev=False,
        description="Find, prove and document a vacuum-evaporation method in few bench trials.",
        epilog="Exit codes: 0 done, 1 the answer is no, 2 bad input, 70 internal fault.",
    )
    _add_common(parser, None)
    commands = _Commands(parser)
    _add_bench(commands)
    _add_answers(commands)
    _add_record(commands)
    _add_tools(commands)
    return parser


def _add_common(parser: argparse.ArgumentParser, default: str | None) -> None:
    parser.add_argument("--json", action="store_true", default=default or False,
                        help="answer in JSON")
    parser.add_argument("--store", metavar="URL", default=default,
                        help="store: a path or a database URL (or BOILWRIGHT_STORE)")


def _add_bench(commands: _Commands) -> None:
    one = commands.add("new", "start a dossier from a job file", "job")
    one.add_argument("--id", help="a name of your own for the dossier")
    one.add_argument("--from", dest="earlier", metavar="DOSSIER",
                     help="an earlier one of the same evaporator or analytes to learn from")
    commands.add("window", "say what physics allows before any trial", "source")
    one = commands.add("simulate", "predict one run", "source")
    for name in (*MAIN_FACTORS, *EXTRA_FACTORS):
        is_number = name in DEFAULT_STEP
        one.add_argument(
            f"--{name.replace('_', '-')}", type=number if is_number else str,
            required=name in MAIN_FACTORS, metavar="X" if is_number else "NAME",
            help=FACTORS_MEANT.get(name),
        )
    one = commands.add("propose", "propose the trials worth running next", "dossier")
    one.add_argument("-n", type=whole, metavar="N", help="how many (default: the job's batch)")
    one.add_argument("-o", "--output", metavar="FILE", help="bench sheet: .csv, .xlsx or .pdf")
    one = commands.add("sheet", "write the bench sheet of the trials still to be run again",
                       "dossier")
    one.add_argument("-o", "--output", required=True, metavar="FILE",
                     help="the ending chooses the format: .csv, .xlsx or .pdf")
    one = commands.add("record", "take a filled trial table, whole or not at all", "dossier")
    one.add_argument("table", metavar="TABLE", help="CSV or XLSX; - for standard input")
    one = commands.add("attach", "attach the log of the evaporator's instruments to a trial",
                       "dossier", "trial")
    one.add_argument("log", metavar="LOG", help="CSV of time, pressure and temperatures")
    one.add_argument("--column", action="append", metavar="WHAT=HEADER:UNIT",
                     help="time, pressure, wall_temperature, coolant_in or coolant_out")
    one.add_argument("--accept", action="store_true", help="take the columns as proposed")
    one.add_argument("--lid-closed-min", type=number, default=0.0, metavar="X",
                     help="moment of lid-close, min after the first row (default 0)")
    one.add_argument("--take-run-time", action="store_true",
                     help="also take the run time that the log tells")
    one = commands.add("detach", "let the log of a trial no longer count", "dossier", "trial")
    _add_reason(one, required=True)
    one = commands.add("withdraw", "take a pending trial back", "dossier", "trial")
    _add_reason(one)
    for name, text in (("exclude", "keep a result out of the fit"),
                       ("include", "let an excluded result count again")):
        one = commands.add(name, text, "dossier", "trial")
        _add_reason(one, required=True)


def _add_reason(one: argparse.ArgumentParser, required: bool = False) -> None:
    one.add_argument("--reason", required=required, default="", metavar="TEXT",
                     help="why, for the record")


def _add_answers(commands: _Commands) -> None:
    one = commands.add("recommend", "recommend the fastest setting at the asked assurance",
                       "dossier")
    one.add_argument("--fastest", action="store_true",
                     help="do not move inwards for the equipment's tolerance")
    one = commands.add("verify", "plan the confirmation runs, or judge them by written criteria",
                       "dossier")
    one.add_argument("table", nargs="?", metavar="TABLE", help="filled table of such runs")
    one.add_argument("--learn", action="store_true",
                     help="take the runs of a failed verification over as trials")
    one.add_argument("-o", "--output", metavar="FILE",
                     help="write the bench sheet of the plan, made now where none stands: .csv, "
                          ".xlsx or .pdf")
    one = commands.add("robustness", "plan a small factorial around the setting, or analyse it",
                       "dossier")
    one.add_argument("-o", "--output", metavar="FILE",
                     help="plan the runs and write their bench sheet: .csv, .xlsx or .pdf")
    one = commands.add("report", "write the justification", "dossier")
    one.add_argument("-o", "--output", required=True, metavar="FILE",
                     help="the ending chooses the format: .pdf, .html, .docx or .xlsx")
    one = commands.add("recompute", "compute the recommendation of a report again and compare",
                       "file")
    one.add_argument("other", nargs="?", metavar="FILE",
                     help="where the first is an exported dossier: the report or report.json")
    one = commands.add("transfer", "predict the method with another vessel, fill or count",
                       "dossier")
    one.add_argument("job", metavar="JOB", help="the job file with what changes")
    one = commands.add("compare", "compare trials, or dossiers", "dossier")
    one.add_argument("others", nargs="*", metavar="TRIAL|DOSSIER",
                     help="trials of it, or other dossiers (default: all its recorded trials)")


def _add_record(commands: _Commands) -> None:
    commands.add("list", "list all dossiers")
    one = commands.add("move", "move a dossier to another state", "dossier", "state")
    _add_reason(one)
    one = commands.add("authorise", "note who authorises a job that can hurt someone", "dossier")
    one.add_argument("--by", required=True, metavar="NAME", help="who takes the responsibility")
    _add_reason(one, required=True)
    one = commands.add("revise", "start the next version of a dossier, also of one with trials "
                       "still to be run, which stay with the old version", "dossier")
    one.add_argument("job", nargs="?", metavar="JOB", help="changed job file")
    _add_reason(one)
    one = commands.add("export", "write a dossier to one file", "dossier")
    one.add_argument("-o", "--output", required=True, metavar="FILE", help="the file, a .zip")
    commands.add("import", "read a dossier from such a file", "file")
    one = commands.add("backup", "write all dossiers to one file")
    one.add_argument("-o", "--output", required=True, metavar="FILE", help="the file, a .zip")
    commands.add("restore", "take every dossier of a backup into the store", "file")
    commands.add("audit", "verify the history of every dossier")


def _add_tools(commands: _Commands) -> None:
    one = commands.add("substance", "show property values with their sources", "name")
    one.add_argument("--temperature-c", type=number, default=25.0, metavar="X",
                     help="of the values shown (default 25)")
    one.add_argument("--figure", type=Path, metavar="FILE",
                     help="also draw the curve with its data (.svg or .png)")
    one = commands.add("mixture", "show bubble point, vapour and azeotrope of a mixture")
    one.add_argument("parts", nargs="+", metavar="NAME=MOLE_FRACTION",
                     help="a liquid and its share, such as acetone=0.6; the shares add to 1")
    one.add_argument("--pressure-mbar", type=number, default=1013.25, metavar="X",
                     help="absolute (default 1013.25)")
    one = commands.add("benchmark", "play simulated benches against other strategies")
    one.add_argument("--quick", action="store_true", help="a few minutes")
    one.add_argument("--benches", type=whole, default=10, metavar="N",
                     help="how many (default 10)")
    one.add_argument("--dask", metavar="ADDRESS", help="an existing Dask cluster")
    one = commands.add("example", "load the example dossiers into the store")
    one.add_argument("name", nargs="?", metavar="NAME", help="one of them (default: all)")
    commands.add("doctor", "check the store, properties, fonts and renderers")
    one = commands.add("app", "open the wizard in the browser")
    one.add_argument("--port", type=port, default=8501, metavar="N",
                     help="port to listen on (default 8501)")
    one.add_argument("--host", default="localhost", metavar="ADDRESS",
                     help="address to listen on (default localhost: this machine only)")
    one.add_argument("--no-browser", action="store_true", help="do not open a browser")
