"""Energetic structures: explosive groups and the oxygen balance, from a SMILES string.

A screening, not a verdict: groups and balance as the United Nations Manual of Tests and
Criteria, appendix 6, weighs them (from memory, high confidence; the limits between "stop" and
"keep from overheating" are our own).
"""

from __future__ import annotations

from dataclasses import dataclass

from models.smiles import Atom, Molecule, readable

VIOLENT = {"azide", "nitramine", "nitrate ester", "peroxide"}
VIOLENT_LIMIT, NITRO_LIMIT = -200.0, -130.0
"""g O2 per 100 g, above which a violent group, or two nitro groups, make a dry residue that may
explode: trinitrotoluene -74, dinitrotoluene -114 against trifluralin -136, pendimethalin -179;
benzoyl peroxide -192 against artemisinin -204."""


@dataclass(frozen=True)
class Energy:
    """Explosive groups found, with the oxygen balance in g O2 per 100 g."""

    groups: tuple[str, ...]
    oxygen_balance: float

    @property
    def explosive(self) -> bool:
        """Whether it is treated as able to explode as a dry residue."""
        violent = bool(VIOLENT & set(self.groups)) and self.oxygen_balance > VIOLENT_LIMIT
        crowded = self.groups.count("nitro") >= 2 and self.oxygen_balance > NITRO_LIMIT
        return violent or crowded


def energy_of(smiles: str) -> Energy | None:
    """Explosive groups and oxygen balance of a structure; None when it cannot be read.

    Examples
    --------
    >>> energy_of("Cc1c(cc(cc1[N+](=O)[O-])[N+](=O)[O-])[N+](=O)[O-]").explosive
    True
    >>> energy_of("c1ccccc1").groups
    ()
    """
    molecule = readable(smiles)
    if molecule is None:
        return None
    groups = [g for atom in molecule.atoms if (g := _group(molecule, atom))]
    return Energy(tuple(sorted(groups)), _oxygen_balance(molecule))


def _ends(molecule: Molecule, atom: Atom, symbol: str) -> list[int]:
    """Neighbours of that element that bond to nothing else and carry no hydrogen."""
    return [j for j, _ in molecule.neighbours(atom.index)
            if molecule.atoms[j].symbol == symbol and not molecule.atoms[j].hydrogens
            and len(molecule.neighbours(j)) == 1]


def _group(molecule: Molecule, atom: Atom) -> str:
    """The explosive group this atom stands for, empty when none."""
    near = [molecule.atoms[j] for j, _ in molecule.neighbours(atom.index)]
    if atom.symbol == "N" and len(_ends(molecule, atom, "O")) == 2 and len(near) == 3:
        other = next(a for a in near if a.index not in _ends(molecule, atom, "O"))
        return {"O": "nitrate ester", "N": "nitramine"}.get(other.symbol, "nitro")
    if atom.symbol == "N" and [a.symbol for a in near] == ["N", "N"] and not atom.aromatic \
            and len(_ends(molecule, atom, "N")) == 1:
        return "azide"
    if atom.symbol == "O":
        later = [a for a in near if a.symbol == "O" and a.index > atom.index]
        return "peroxide" if later else ""
    return ""


def _oxygen_balance(molecule: Molecule) -> float:
    """-1600 (2 C + (H - halogen)/2 - O) / M, in g O2 per 100 g."""
    count = {s: sum(a.symbol == s for a in molecule.atoms)
             for s in ("C", "O", "F", "Cl", "Br", "I")}
    hydrogen = sum(a.hydrogens or 0 for a in molecule.atoms)
    hydrogen -= count["F"] + count["Cl"] + count["Br"] + count["I"]
    needed = 2.0 * count["C"] + 0.5 * hydrogen - count["O"]
    return -1600.0 * needed / (1000.0 * molecule.molar_mass)
