"""The strategies that are compared, by name, and what each needs to be installed."""

from __future__ import annotations

from importlib.util import find_spec

from experiments.studies.bayesian import ConstrainedImprovement, SobolSearch
from experiments.studies.one_factor import OneFactorAtATime
from experiments.studies.optuna_peers import OptunaGP, OptunaTPE
from experiments.studies.response_surface import BoxBehnken, CentralComposite
from experiments.studies.strategy import Problem, Strategy

OURS = "boilwright"
PEERS = (
    "one factor at a time", "Box-Behnken", "central composite", "Sobol search", "Optuna TPE",
    "Optuna GP", "scikit-learn GP", "BoTorch",
)
ALL = (OURS, *PEERS)
NEEDS = {"Optuna GP": ("torch",), "BoTorch": ("torch", "botorch")}
"""Packages of the extra ``study`` without which a strategy cannot be played."""


class MissingExtra(RuntimeError):
    """A strategy needs a package that is not installed."""


def check_available(name: str) -> None:
    """Raise :class:`MissingExtra` with the cure when the strategy's packages are missing."""
    if name not in ALL:
        raise KeyError(f"Unknown strategy {name!r}; there are {', '.join(ALL)}.")
    missing = [package for package in NEEDS.get(name, ()) if find_spec(package) is None]
    if missing:
        raise MissingExtra(
            f"The strategy {name!r} needs {' and '.join(missing)}; install the extra with "
            "pip install 'boilwright[study]', or leave it out."
        )


def is_available(name: str) -> bool:
    """Whether the strategy can run here."""
    try:
        check_available(name)
    except MissingExtra:
        return False
    return True


def make_strategy(name: str, problem: Problem, budget: int) -> Strategy:
    """A fresh strategy of that name for one problem and largest budget."""
    check_available(name)
    if name == OURS:
        from experiments.studies.ours import Boilwright

        return Boilwright(problem, budget)
    if name == "BoTorch":
        from experiments.studies.botorch_peer import BoTorchSearch

        return BoTorchSearch(problem, budget)
    plain: dict[str, type] = {
        "one factor at a time": OneFactorAtATime, "Box-Behnken": BoxBehnken,
        "central composite": CentralComposite, "Sobol search": SobolSearch,
        "Optuna TPE": OptunaTPE, "Optuna GP": OptunaGP,
        "scikit-learn GP": ConstrainedImprovement,
    }
    strategy: Strategy = plain[name](problem, budget)
    return strategy
