"""Is everything there that the program needs? One check a piece, each with a cure.

The checks do the real thing on a small scale (look up a property, simulate a run, set a
page, draw a figure, open the store) instead of looking for files.
"""

from __future__ import annotations

import re
import shutil
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Final

import numpy as np
from packaging.requirements import Requirement

from experiments import service
from experiments.bootstrap import open_store, store_url
from experiments.users import User
from experiments.wording import counted
from models.equipment import Equipment, Load
from models.parameters import PARAMETERS
from models.quantities import ATMOSPHERE, celsius

ROOM_NEEDED: Final = 200 * 1024**2
"""Bytes free beside the store; common practice, no source."""

WATER_BOILS: Final = 373.12  # K at 101325 Pa, IAPWS-95 (99.97 degC)
REINSTALL: Final = "Install the program again: make clean, then make app."


@dataclass(frozen=True)
class Check:
    """One piece of the program: whether it is well, what was seen, what to do if not."""

    name: str
    is_well: bool
    detail: str
    cure: str = ""


def examine(store: str | None = None) -> tuple[Check, ...]:
    """Check every piece; a piece that fails in an unforeseen way is ill, not an exception.

    Parameters
    ----------
    store : path or URL of the store, as for every command
    """
    url = store_url(store)
    checks: tuple[tuple[str, Callable[[], Check]], ...] = (
        ("packages", check_packages),
        ("properties", check_properties),
        ("run model", check_run),
        ("report pages", check_page_setting),
        ("figures", check_figures),
        ("room", lambda: check_room(url)),
        ("store", lambda: check_store(url)),
    )
    return tuple(_carry_out(name, check) for name, check in checks)


def _carry_out(name: str, check: Callable[[], Check]) -> Check:
    try:
        return check()
    except Exception as fault:  # noqa: BLE001 - whatever it is, it is the finding
        cure = str(getattr(fault, "cure", REINSTALL))
        said = str(getattr(fault, "message", f"{type(fault).__name__}: {fault}"))
        return Check(name, False, said.splitlines()[0] if said else type(fault).__name__, cure)


def check_packages() -> Check:
    """Python and every required package are there in a version the program accepts."""
    wrong = []
    for text in metadata.requires("boilwright") or ():
        needed = Requirement(text)
        if needed.marker and not needed.marker.evaluate({"extra": ""}):
            continue
        try:
            found = metadata.version(needed.name)
        except metadata.PackageNotFoundError:
            wrong.append(f"{needed.name} is missing")
            continue
        if not needed.specifier.contains(found, prereleases=True):
            wrong.append(f"{needed.name} {found} is not {needed.specifier}")
    version = ".".join(map(str, sys.version_info[:3]))
    seen = f"Python {version}, boilwright {metadata.version('boilwright')}"
    return Check("packages", not wrong, "; ".join(wrong) or seen, "" if not wrong else REINSTALL)


def check_properties() -> Check:
    """The vapour pressure of water at its boiling point is an atmosphere."""
    from models.properties import describe_substance

    pressure = float(str(describe_substance("water", WATER_BOILS)["vapour_pressure_pa"]))
    holds = abs(pressure / ATMOSPHERE - 1) < 0.01
    seen = f"water at {celsius(WATER_BOILS):.2f} degC: {pressure / 100:.1f} mbar"
    return Check("properties", holds, seen, "" if holds else REINSTALL)


def check_run() -> Check:
    """A batch of acetone is simulated, with the compiled kernels kept for the next start."""
    from models.mixture import build_system
    from models.run_model import simulate

    rig = Equipment(
        vessels=6, vessel_capacity_m3=1e-4, relative_centrifugal_force=400.0,
        condenser_temperature_k=233.15, ramp_start_pressure_pa=7e4, ultimate_pressure_pa=200.0,
        end_point_load_fraction=0.1, heating="contact", condenser_power_w=500.0,
        pump_speed_m3_per_s=7e-4, chamber_volume_m3=0.03,
    )
    setting = np.array([[313.15, 50.0, 1e4, 3e-5, 0.0, 0.0, 120.0]])
    system = build_system([("acetone", 1.0)], None, [])
    start = time.perf_counter()
    batch = simulate(system, rig, Load(1e-6), setting, np.zeros((1, len(PARAMETERS))))
    took = time.perf_counter() - start
    holds = bool(batch.finished[0])
    end = f"dry after {batch.run_time[0] / 60:.0f} min" if holds else "not dry"
    seen = f"six times 30 mL of acetone {end}, worked out in {took:.1f} s"
    return Check("run model", holds, seen, "" if holds else REINSTALL)


def check_page_setting() -> Check:
    """A page with text in the report's fonts becomes a PDF."""
    import typst

    page = typst.compile(b"#set document(title: [Check])\nWater boils at 100 \xc2\xb0C.")
    holds = isinstance(page, bytes) and page.startswith(b"%PDF") and b"/FontFile" in page
    size = len(page) if isinstance(page, bytes) else 0
    return Check("report pages", holds, f"a PDF page of {size} bytes with its font inside",
                 "" if holds else REINSTALL)


def check_figures() -> Check:
    """A chart becomes vector graphics without a browser."""
    import vl_convert

    chart = {
        "data": {"values": [{"x": 1, "y": 2}, {"x": 2, "y": 3}]},
        "mark": "line",
        "encoding": {"x": {"field": "x", "type": "quantitative"},
                     "y": {"field": "y", "type": "quantitative"}},
    }
    drawing = vl_convert.vegalite_to_svg(chart)
    holds = "<path" in drawing
    return Check("figures", holds, f"a drawing of {len(drawing)} characters",
                 "" if holds else REINSTALL)


def check_room(url: str) -> Check:
    """The disk that holds a SQLite store has room; a server's disk is its own affair."""
    matched = re.fullmatch(r"sqlite:///(.+)", url)
    if matched is None:
        return Check("room", True, "the store is not a file of this machine")
    folder = Path(matched[1]).absolute().parent
    while not folder.exists():
        folder = folder.parent
    free = shutil.disk_usage(folder).free
    holds = free >= ROOM_NEEDED
    cure = "" if holds else f"Free some of the disk that holds {folder}, or move the store."
    return Check("room", holds, f"{free / 1024**3:.1f} GiB free for the store", cure)


def check_store(url: str) -> Check:
    """The store opens, and the chain of every dossier holds."""
    store = open_store(url)
    try:
        chains = service.audit(service.Session(store, User("doctor", frozenset({"read"}))))
    finally:
        store.close()
    broken = [dossier for dossier, chain in chains.items() if not chain.holds]
    if broken:
        return Check("store", False, f"the history of {', '.join(broken)} is broken",
                     "Restore the store from a backup; boilwright audit tells more.")
    events = sum(chain.events for chain in chains.values())
    return Check("store", True, f"{counted(len(chains), 'dossier')}, {counted(events, 'event')}, "
                 "every chain holds")
