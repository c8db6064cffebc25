"""A reader of SMILES strings: atoms, bonds, hydrogens and rings, as far as estimates need.

After D. Weininger, J. Chem. Inf. Comput. Sci. 28 (1988) 31 and the open OpenSMILES
specification: organic subset, aromatic atoms, brackets, branches, ring closures.
Stereochemistry is read over.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from models.errors import ModelError

MASSES = {"H": 1.008, "B": 10.81, "C": 12.011, "N": 14.007, "O": 15.999, "F": 18.998,
          "Si": 28.085, "P": 30.974, "S": 32.06, "Cl": 35.45, "Br": 79.904, "I": 126.904}
VALENCES = {"B": (3,), "C": (4,), "N": (3, 5), "O": (2,), "P": (3, 5), "S": (2, 4, 6),
            "F": (1,), "Cl": (1,), "Br": (1,), "I": (1,), "Si": (4,)}
ORDERS = {"-": 1, "=": 2, "#": 3, ":": 0, "/": 1, "\\": 1}
TOKEN = re.compile(
    r"\[(?P<isotope>\d*)(?P<inner>[A-Z][a-z]?|[bcnops])@{0,2}H?(?P<rest>[^\]]*)\]"
    r"|(?P<atom>Cl|Br|[BCNOPSFI]|[bcnops])|(?P<bond>[-=#:/\\])"
    r"|(?P<branch>[()])|(?P<ring>%\d\d|\d)"
)


@dataclass
class Atom:
    """One heavy atom with its hydrogens."""

    index: int
    symbol: str
    aromatic: bool
    hydrogens: int | None
    in_ring: bool = False


@dataclass
class Molecule:
    """Atoms and bonds (i, j) -> order; 0 stands for aromatic."""

    atoms: list[Atom] = field(default_factory=list)
    bonds: dict[tuple[int, int], int] = field(default_factory=dict)

    def neighbours(self, index: int) -> list[tuple[int, int]]:
        """(atom, bond order) of everything bonded to an atom; 0 aromatic."""
        return [(j if i == index else i, order) for (i, j), order in self.bonds.items()
                if index in (i, j)]

    @property
    def molar_mass(self) -> float:
        """kg/mol."""
        grams = sum(MASSES[a.symbol] + MASSES["H"] * (a.hydrogens or 0) for a in self.atoms)
        return grams / 1000.0


def _unreadable(smiles: str, why: str) -> ModelError:
    return ModelError(f"The structure {smiles!r} cannot be read: {why}.",
                      "Give one neutral molecule as SMILES, or a vapour pressure instead.")


def readable(smiles: str) -> Molecule | None:
    """The molecule of a structure, None when there is none or it cannot be read."""
    try:
        return read_smiles(smiles)
    except ModelError:
        return None


def read_smiles(smiles: str) -> Molecule:
    """Read one molecule.

    Raises
    ------
    ModelError
        For text that is no SMILES string, salts and mixtures, and unknown elements.

    Examples
    --------
    >>> round(read_smiles("c1ccccc1O").molar_mass, 5)
    0.09411
    """
    molecule = Molecule()
    _read_chain(molecule, smiles.strip(), smiles)
    _mark_rings(molecule)
    _fill_hydrogens(molecule, smiles)
    return molecule


def _read_chain(molecule: Molecule, text: str, smiles: str) -> None:
    """Read all tokens into atoms and bonds."""
    if not text:
        raise _unreadable(smiles, "it is empty")
    if "." in text:
        raise _unreadable(smiles, "it has more than one part")
    position, last, order = 0, None, None
    stack: list[int] = []
    open_rings: dict[str, tuple[int, int | None]] = {}
    while position < len(text):
        token = TOKEN.match(text, position)
        if token is None:
            raise _unreadable(smiles, f"character {position + 1} is not understood")
        position = token.end()
        if token["bond"]:
            order = ORDERS[token["bond"]]
        elif token["branch"]:
            last = _branch(token["branch"], last, stack, smiles)
        elif token["ring"]:
            if last is None:
                raise _unreadable(smiles, "it starts with a ring number")
            _ring(molecule, open_rings, token["ring"], last, order)
            order = None
        else:
            new = _add_atom(molecule, token, smiles)
            if last is not None:
                _bond(molecule, last, new, order)
            last, order = new, None
    if stack or open_rings:
        raise _unreadable(smiles, "a ring or a bracket is not closed")


def _branch(bracket: str, last: int | None, stack: list[int], smiles: str) -> int:
    """Atom to go on from after an opening or a closing bracket."""
    if bracket == "(" and last is not None:
        stack.append(last)
        return last
    if bracket == "(" or not stack:
        raise _unreadable(smiles, "a bracket is out of place")
    return stack.pop()


def _add_atom(molecule: Molecule, token: re.Match[str], smiles: str) -> int:
    symbol = token["atom"] or token["inner"]
    hydrogens = None
    if token["inner"]:
        counted = re.search(r"H(\d*)", token[0][1 + len(token["isotope"]) + len(symbol):])
        hydrogens = int(counted[1] or 1) if counted else 0
    aromatic = symbol.islower()
    symbol = symbol.capitalize()
    if symbol not in MASSES or symbol == "H":
        raise _unreadable(smiles, f"the element {symbol} is not covered")
    molecule.atoms.append(Atom(len(molecule.atoms), symbol, aromatic, hydrogens))
    return len(molecule.atoms) - 1


def _bond(molecule: Molecule, i: int, j: int, order: int | None) -> None:
    if order is None:
        order = 0 if molecule.atoms[i].aromatic and molecule.atoms[j].aromatic else 1
    molecule.bonds[i, j] = order


def _ring(molecule: Molecule, open_rings: dict[str, tuple[int, int | None]], label: str,
          atom: int, order: int | None) -> None:
    if label in open_rings:
        other, first = open_rings.pop(label)
        _bond(molecule, other, atom, order if order is not None else first)
    else:
        open_rings[label] = (atom, order)


def _mark_rings(molecule: Molecule) -> None:
    """A bond is in a ring when its ends stay connected without it."""
    for i, j in molecule.bonds:
        seen, queue = {i}, [i]
        while queue:
            here = queue.pop()
            for other, _ in molecule.neighbours(here):
                if {here, other} != {i, j} and other not in seen:
                    seen.add(other)
                    queue.append(other)
        if j in seen:
            molecule.atoms[i].in_ring = molecule.atoms[j].in_ring = True
        elif molecule.bonds[i, j] == 0:
            molecule.bonds[i, j] = 1  # two aromatic rings joined by a single bond


def _fill_hydrogens(molecule: Molecule, smiles: str) -> None:
    for atom in molecule.atoms:
        if atom.hydrogens is not None:
            continue
        orders = [order for _, order in molecule.neighbours(atom.index)]
        used = sum(order or 1 for order in orders)
        if atom.aromatic:
            needed = {"C": 3, "N": 2, "B": 2, "P": 2}.get(atom.symbol, 2)
            atom.hydrogens = max(0, needed - used) if atom.symbol == "C" else 0
            continue
        possible = [v for v in VALENCES[atom.symbol] if v >= used]
        if not possible:
            raise _unreadable(smiles, f"{atom.symbol} has too many bonds")
        atom.hydrogens = possible[0] - used
