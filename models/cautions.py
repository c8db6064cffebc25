"""What can go wrong with a job's substances, said before the bench finds out.

The tool advises; the equipment's manual, local codes and the laboratory's licensed safety
practice decide. Sources: peroxide formers from Cornell University Chemical Hygiene Plan,
appendix J, and Ohio University list B; chloroform and cold traps from Prudent Practices
(National Research Council); N,N-dimethylformamide from Org. Process Res. Dev. 24 (2020) 1586;
flash and ignition temperatures from IEC 60079-20-1 (2010) and NFPA 497 (2008) as packaged with
the ``chemicals`` library, the lower of the two; aromatic amines from EPA Method 625 (40 CFR 136,
appendix A), section 1.2, which says it of benzidine; halogenated solvents: common practice, no
source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from models.energetic import energy_of
from models.errors import Finding
from models.quantities import celsius
from models.smiles import readable
from models.substances import normalised, packaged_substance

DEFER = "Follow the equipment's manual, local codes and the laboratory's licensed safety practice."

PEROXIDE_FORMERS = {
    "60-29-7": "B", "109-99-9": "B", "123-91-1": "B", "505-22-6": "B", "67-63-0": "B",
    "78-92-2": "B", "110-83-8": "B", "108-10-1": "B", "110-71-4": "B", "111-96-6": "B",
    "109-92-2": "B", "96-47-9": "B", "108-20-3": "A",
}
"""CAS -> list; A forms explosive peroxides without concentration, B on concentration."""

HALOGENS = {"Cl", "Br", "I"}
AMIDES = {"68-12-2", "127-19-5"}
AMINES = {"110-86-1", "121-44-8"}
STRONG_ACIDS = {"hydrochloricacid", "sulfuricacid", "nitricacid", "perchloricacid",
                "trifluoroaceticacid", "formicacid", "aceticacid", "hydrobromicacid", "hcl",
                "tfa"}
BASES = {"sodiumhydroxide", "potassiumhydroxide", "sodiumhydride", "ammonia", "triethylamine",
         "ammoniumhydroxide", "pyridine", "sodiummethoxide", "sodiumethoxide", "diethylamine",
         "ammoniasolution"}
OXIDANTS = {"hydrogenperoxide", "perchloricacid", "nitricacid", "potassiumpermanganate",
            "bromine", "chlorine", "chromiumtrioxide", "peraceticacid"}
NITRO_WORDS = ("nitrobenzene", "nitrotoluene", "nitrophenol", "nitroglycerin", "nitroaniline",
               "tnt", "rdx", "hmx", "petn", "tetryl", "picric", "nitronaphthalene", "dnt",
               "nitrocellulose")
OXYGEN_CONDENSES = 95.0  # K; it boils at 90.2 K (common knowledge), a little more for the trap
AMINE_WORDS = ("benzidine", "aniline", "toluidine", "naphthylamine", "phenylenediamine")
AZIDE_WORDS = ("azide", "azido")


def _cas(name: str) -> str:
    found = packaged_substance(name)
    return found.cas if found is not None else name.strip()


def _label(names: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(names))


def is_peroxide_former(name: str) -> bool:
    """Whether a solvent is on list A or B of the peroxide formers.

    Examples
    --------
    >>> is_peroxide_former("tetrahydrofuran"), is_peroxide_former("toluene")
    (True, False)
    """
    return _cas(name) in PEROXIDE_FORMERS


def _is_nitroaromatic(name: str) -> bool:
    key = normalised(name)
    known = packaged_substance(name)
    names = {key, *(normalised(s) for s in known.synonyms)} if known is not None else {key}
    if known is not None:
        names.add(normalised(known.name))
    return any(word in n if len(word) > 4 else n.endswith(word) or n == word
               for n in names for word in NITRO_WORDS)


def cautions(
    solvents: Sequence[str],
    keepers: Sequence[str],
    analytes: Sequence[str],
    to_dryness: bool = True,
    peroxide_test: str = "",
    structures: Mapping[str, str] | None = None,
    condenser_temperature_k: float = math.inf,
) -> tuple[Finding, ...]:
    """Every caution that the substances of a job call for.

    Parameters
    ----------
    solvents, analytes : names or CAS numbers
    keepers : the same, every one that may be used
    to_dryness : nothing liquid is meant to be left (no keeper, no end volume)
    peroxide_test : value and date of the test, empty when there is none
    structures : SMILES by name, for analytes that the library does not know
    condenser_temperature_k : K, of the condenser or trap where it is known

    Returns
    -------
    tuple of Finding
        Severity "stop" where the job needs a named person's authorisation first.
    """
    liquids = [*solvents, *keepers]
    everything = [*liquids, *analytes]
    halogenated = [n for n in liquids if _is_halogenated(n)]
    found = [
        *_stops(halogenated, everything),
        *_energetic_structures(everything, structures or {}),
        *_peroxides(liquids, to_dryness, peroxide_test),
        *_flammables(liquids),
        *_halogenated(halogenated),
        *_incompatible(everything),
        *_corrosive(everything),
        *_freezing(solvents),
        *_cold_trap(condenser_temperature_k),
        *_oxidised(analytes, structures or {}),
        *_unknown(analytes),
    ]
    return tuple(found)


def _is_halogenated(name: str) -> bool:
    """Whether chlorine, bromine or iodine hangs on carbon; by the packaged structure."""
    molecule = readable(_structure(name, {}))
    return molecule is not None and any(atom.symbol in HALOGENS and any(
        molecule.atoms[j].symbol == "C" for j, _ in molecule.neighbours(atom.index))
        for atom in molecule.atoms)


def _stops(halogenated: list[str], everything: list[str]) -> list[Finding]:
    found = []
    nitro = [n for n in everything if _is_nitroaromatic(n)]
    if nitro:
        found.append(Finding(
            "energetic_residue", "stop",
            f"{_label(nitro)}: nitro compounds may explode as a dry, heated residue.",
            f"Do not run before a named person has authorised it in writing; leave a keeper. "
            f"{DEFER}"))
    perchloric = [n for n in everything if "perchlor" in normalised(n)
                  and "ethylene" not in normalised(n) and "benzene" not in normalised(n)
                  and "ethane" not in normalised(n)]
    if perchloric:
        found.append(Finding(
            "perchloric_acid", "stop",
            f"{_label(perchloric)}: concentrated or dried perchlorates explode.",
            f"Replace it, or have a named person authorise the job first. {DEFER}"))
    azides = [n for n in everything if any(w in normalised(n) for w in AZIDE_WORDS)]
    if azides and halogenated:
        found.append(Finding(
            "azide_halogenated", "stop",
            f"{_label(azides)} with a chlorinated solvent forms explosive diazidomethane.",
            f"Change the solvent; a named person must authorise the job first. {DEFER}"))
    elif azides:
        found.append(Finding(
            "energetic_residue", "stop", f"{_label(azides)}: azides may explode when dried.",
            f"Do not run before a named person has authorised it in writing. {DEFER}"))
    return found


def _structure(name: str, structures: Mapping[str, str]) -> str:
    """SMILES that was given or is packaged; empty when there is none."""
    known = packaged_substance(name)
    return structures.get(name) or (known.smiles if known is not None else "")


def _energetic_structures(everything: list[str], structures: Mapping[str, str]) -> list[Finding]:
    """What the structure says of substances whose name says nothing."""
    explosive: list[str] = []
    groups: list[str] = []
    for name in everything:
        smiles = _structure(name, structures)
        energy = energy_of(smiles) if smiles else None
        if energy is None or not energy.groups or _is_nitroaromatic(name):
            continue
        (explosive if energy.explosive else groups).append(f"{name} ({energy.groups[0]})")
    found = []
    if explosive:
        found.append(Finding(
            "energetic_residue", "stop",
            f"{_label(explosive)}: the structure may explode as a dry, heated residue.",
            f"Do not run before a named person has authorised it in writing; leave a keeper. "
            f"{DEFER}"))
    if groups:
        found.append(Finding(
            "energetic_group", "caution",
            f"{_label(groups)}: may decompose violently if a larger amount is heated dry.",
            f"Spike traces only, cap the wall temperature, leave a keeper. {DEFER}"))
    return found


def _peroxides(liquids: list[str], to_dryness: bool, test: str) -> list[Finding]:
    formers = [n for n in liquids if is_peroxide_former(n)]
    if not formers:
        return []
    worst = any(PEROXIDE_FORMERS[_cas(n)] == "A" for n in formers)
    if to_dryness and (worst or not test.strip()):
        return [Finding(
            "peroxide_former", "stop",
            f"{_label(formers)} forms peroxides that explode when concentrated; the inhibitor "
            "does not stay with the liquid.",
            "Do not evaporate to dryness without a dated peroxide test; leave at least 10 % of "
            f"the volume or a keeper. {DEFER}")]
    return [Finding(
        "peroxide_former", "caution",
        f"{_label(formers)} forms peroxides; the inhibitor does not stay with the liquid.",
        f"Test before use and write down value and date. {DEFER}")]


def _flammables(liquids: list[str]) -> list[Finding]:
    parts = []
    for name in liquids:
        s = packaged_substance(name)
        if s is None:
            continue
        figures = []
        if math.isfinite(s.flash_temperature):
            figures.append(f"flash point {celsius(s.flash_temperature):.0f} degC "
                           f"({s.flash_source})")
        if math.isfinite(s.ignition_temperature):
            figures.append(f"ignition {celsius(s.ignition_temperature):.0f} degC "
                           f"({s.ignition_source})")
        if figures:
            parts.append(f"{name}: {', '.join(figures)}")
    if not parts:
        return []
    return [Finding(
        "flammable", "caution",
        f"Flammable vapour. {'; '.join(parts)}; the lower figure of the standards is given.",
        f"Keep the exhaust and the condenser vented to a safe place, earth the vessels. {DEFER}")]


def _halogenated(solvents: list[str]) -> list[Finding]:
    if not solvents:
        return []
    return [Finding(
        "halogenated", "caution",
        f"{_label(solvents)}: the vapour of halogenated solvents harms health, and some of it "
        "passes the condenser with the pump's exhaust.",
        "Lead the exhaust into a fume hood, wear gloves that withstand it, keep the condensate "
        f"apart as halogenated waste. {DEFER}")]


def _incompatible(everything: list[str]) -> list[Finding]:
    cas = {_cas(n) for n in everything}
    keys = {normalised(n) for n in everything}
    found = []
    if "67-66-3" in cas and "67-64-1" in cas:
        base = bool(keys & BASES) or bool(cas & AMINES)
        found.append(Finding(
            "chloroform_acetone", "stop" if base else "caution",
            "Chloroform and acetone react violently with a base, also in a shared condenser or "
            "trap.",
            f"Keep bases away, empty and rinse the condenser between jobs. {DEFER}"))
    elif "67-66-3" in cas and (keys & BASES):
        found.append(Finding(
            "chloroform_base", "caution", "Chloroform reacts violently with strong bases.",
            f"Keep them apart, in the trap too. {DEFER}"))
    if cas & AMIDES and (keys & OXIDANTS or any(map(_is_halogenated, everything))):
        found.append(Finding(
            "amide_incompatible", "caution",
            "Dimethylformamide and dimethylacetamide react with oxidants and halogenated "
            "compounds, the more the hotter.",
            f"Keep the wall cool and the residue wet. {DEFER}"))
    if "75-09-2" in cas and (cas & AMINES or "diethylamine" in keys):
        found.append(Finding(
            "dichloromethane_amine", "caution",
            "Dichloromethane reacts slowly with amines; products stay with the sample.",
            "Do not let the mixture stand before the run."))
    if "75-15-0" in cas:
        found.append(Finding(
            "carbon_disulfide", "stop",
            "Carbon disulfide ignites at 90 degC (IEC 60079-20-1), on any hot surface.",
            f"Use only equipment approved for it, and only when authorised. {DEFER}"))
    return found


def _corrosive(everything: list[str]) -> list[Finding]:
    acids = [n for n in everything if normalised(n) in STRONG_ACIDS
             or _cas(n) in {"76-05-1", "64-18-6", "64-19-7"}]
    ammonia = [n for n in everything if normalised(n).startswith("ammoni")]
    found = []
    if acids:
        found.append(Finding(
            "acid_vapour", "caution",
            f"{_label(acids)}: acid vapour attacks rotor, seals and pump.",
            f"Check what the equipment withstands; neutralise the trap. {DEFER}"))
    if ammonia:
        found.append(Finding(
            "ammonia_vapour", "caution",
            f"{_label(ammonia)}: ammonia passes the condenser, attacks copper alloys and forms "
            "salts with acid left in the trap.",
            f"Check what the equipment withstands; use a scrubber. {DEFER}"))
    return found


def _freezing(solvents: Sequence[str]) -> list[Finding]:
    cold = [s for s in map(packaged_substance, solvents)
            if s is not None and s.freezing_temperature > 268.0]
    if not cold:
        return []
    text = "; ".join(f"{s.name} at {celsius(s.freezing_temperature):.0f} degC" for s in cold)
    return [Finding(
        "freezing", "caution", f"May freeze in the vessel: {text}. Frozen sample looks dry.",
        "Stop the ramp above the pressure at which it boils at its freezing point.")]


def _cold_trap(temperature: float) -> list[Finding]:
    if temperature > OXYGEN_CONDENSES:
        return []
    return [Finding(
        "cold_trap", "caution",
        f"A trap at {celsius(temperature):.0f} degC, as with liquid nitrogen, may condense oxygen "
        "from air; oxygen with solvent explodes.",
        "Use a warmer coolant, or cool only while the vacuum is on and never leave it open to "
        f"air. {DEFER}")]


def _is_aromatic_amine(name: str, smiles: str) -> bool:
    """Whether an NH2 hangs on an unsaturated ring; by its name where there is no structure."""
    if not smiles:
        return normalised(name).endswith(AMINE_WORDS)
    molecule = readable(smiles)
    if molecule is None:
        return False
    rings = {i for i, a in enumerate(molecule.atoms) if a.in_ring and (
        a.aromatic or any(order == 2 for _, order in molecule.neighbours(i)))}
    return any(atom.symbol == "N" and atom.hydrogens == 2
               and rings & {j for j, _ in molecule.neighbours(atom.index)}
               for atom in molecule.atoms)


def _oxidised(analytes: Sequence[str], structures: Mapping[str, str]) -> list[Finding]:
    amines = [n for n in analytes if _is_aromatic_amine(n, _structure(n, structures))]
    if not amines:
        return []
    return [Finding(
        "oxidation", "caution",
        f"{_label(amines)}: aromatic amines can be lost by oxidation while an extract is "
        "concentrated; the run model counts no such loss.",
        "Keep it cool and in the dark, vent with nitrogen, stop with liquid left and compare with "
        "a spike added after evaporation.")]


def _unknown(analytes: Sequence[str]) -> list[Finding]:
    strangers = [n for n in analytes if packaged_substance(n) is None]
    if not strangers:
        return []
    return [Finding(
        "unknown_stability", "caution",
        f"{_label(strangers)}: thermal stability is not known.",
        "Cap the wall temperature, not only that of the sample, and look for breakdown products.")]
