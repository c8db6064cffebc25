"""Start the wizard's server: ``python -m wizard.launch``, as ``boilwright app`` does."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path

APP = Path(__file__).with_name("app.py")


def build_parser() -> argparse.ArgumentParser:
    """The options of the server."""
    parser = argparse.ArgumentParser(prog="boilwright app", description=__doc__)
    parser.add_argument("--port", type=int, default=8501, help="port to listen on")
    parser.add_argument("--host", default="localhost",
                        help="address to listen on; localhost keeps it on this machine")
    parser.add_argument("--store", help="store: a path or a database URL")
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser")
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Serve the wizard until it is stopped; returns the exit code."""
    arguments = build_parser().parse_args(argv)
    if arguments.store:
        os.environ["BOILWRIGHT_STORE"] = arguments.store
    fault = _store_fault()
    if fault:
        sys.stderr.write(fault + "\n")
        return 2
    from streamlit.web import cli

    sys.stderr.write(f"Boilwright is at {address(arguments)} while this window stays open; "
                     "Ctrl+C stops it.\n")
    return int(cli.main(streamlit_arguments(arguments), standalone_mode=False) or 0)


def address(arguments: argparse.Namespace) -> str:
    """Where a browser on this machine finds the wizard."""
    host = "localhost" if arguments.host in ("0.0.0.0", "::") else arguments.host  # noqa: S104
    return f"http://{host}:{arguments.port}"


def streamlit_arguments(arguments: argparse.Namespace) -> list[str]:
    """The words for Streamlit's own command line."""
    return [
        "run", str(APP),
        "--server.port", str(arguments.port),
        "--server.address", arguments.host,
        "--server.headless", str(bool(arguments.no_browser)).lower(),
        "--server.showEmailPrompt", "false",  # a first start must not wait for an answer
    ]


def _store_fault() -> str:
    """Why the store cannot be opened, found before the browser opens; empty when it can."""
    from experiments import logs
    from experiments.bootstrap import open_store
    from experiments.storage.protocol import StoreError

    logs.configure()
    try:
        open_store().close()
    except StoreError as error:
        return str(error)
    return ""


if __name__ == "__main__":
    sys.exit(main())
