"""Errors and findings of the physics layer; each carries a cure for the reader."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal


class WholeError(Exception):
    """An error that comes back from a worker, or from a copy, with its words as they were.

    By default Python makes an error again from its words alone, which is not how ours are made.
    """

    def __reduce__(self) -> tuple[Any, ...]:
        return _made_again, (type(self), self.args, self.__dict__)


def _made_again(kind: type[WholeError], args: tuple[Any, ...], held: dict[str, Any]) -> WholeError:
    error = kind.__new__(kind)
    error.args = args
    error.__dict__.update(held)
    return error


class Mendable(WholeError):
    """What the reader can mend: input, a store, a right.

    Parameters
    ----------
    message : str
        One sentence saying what is wrong.
    cure : str
        One sentence saying what would help.
    """

    def __init__(self, message: str, cure: str = "") -> None:
        super().__init__(message, cure)
        self.message = message
        self.cure = cure

    def __str__(self) -> str:
        return f"{self.message} {self.cure}".strip()


class ModelError(Mendable):
    """A request the models cannot answer."""


class UnknownSubstance(ModelError):
    """No one substance of that name or CAS number; ``matches`` lists near names.

    ``why`` says what is wrong with the name, where more is known than that it is not known;
    ``cure`` what helps, where it is neither another name nor what a data sheet prints.
    """

    def __init__(self, name: str, matches: tuple[str, ...] = (), why: str = "",
                 cure: str = "") -> None:
        shown = name if len(name) <= 60 else f"{name[:57]}..."
        near = (f"Did you mean {', '.join(matches)}? " if matches
                else "" if why else "Check the spelling. ")
        super().__init__(
            why or (f"Unknown substance {shown!r}." if name.strip()
                    else "Unknown substance: no name is given."),
            cure or f"{near}For an analyte, its molar mass with a vapour pressure or a boiling "
            "point also does.",
        )
        self.matches = matches
        self.why = why
        self.given_cure = cure


class OutOfRange(ModelError):
    """A correlation was asked for a value outside the range of its data."""


@dataclass(frozen=True)
class Finding:
    """Something the analyst should know about a forecast, shown from model to report."""

    code: str
    severity: Literal["info", "caution", "stop"]
    message: str
    cure: str = ""

    @property
    def sentence(self) -> str:
        """The message with its cure, where there is one."""
        return f"{self.message} {self.cure}".strip()
