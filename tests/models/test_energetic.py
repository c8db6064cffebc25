"""Explosive groups and oxygen balance; UN Manual of Tests and Criteria, appendix 6.

The balances are closed form (C, H, O counting); which substances explode is common knowledge
of explosives and pesticides, no single source.
"""

from __future__ import annotations

import pytest

from models.cautions import cautions
from models.energetic import energy_of

TNT = "CC1=C(C=C(C=C1[N+](=O)[O-])[N+](=O)[O-])[N+](=O)[O-]"
DNT = "CC1=C(C=C(C=C1)[N+](=O)[O-])[N+](=O)[O-]"
RDX = "C1N(CN(CN1[N+](=O)[O-])[N+](=O)[O-])[N+](=O)[O-]"
NITROGLYCERIN = "C(C(CO[N+](=O)[O-])O[N+](=O)[O-])O[N+](=O)[O-]"
TRIFLURALIN = "CCCN(CCC)C1=C(C=C(C=C1[N+](=O)[O-])C(F)(F)F)[N+](=O)[O-]"
BENZOYL_PEROXIDE = "O=C(OOC(=O)c1ccccc1)c1ccccc1"


# closed form, g O2 per 100 g
@pytest.mark.parametrize(("smiles", "balance"), [
    (TNT, -74.0), (DNT, -114.2), (NITROGLYCERIN, 3.5), (RDX, -21.6),
    ("O=N(=O)c1ccccc1", -162.4), ("CCO", -208.4)])
def test_oxygen_balance(smiles, balance):
    assert energy_of(smiles).oxygen_balance == pytest.approx(balance, abs=0.3)


@pytest.mark.parametrize(("smiles", "group"), [
    (TNT, "nitro"), ("CN(=O)=O", "nitro"), (RDX, "nitramine"), (NITROGLYCERIN, "nitrate ester"),
    ("c1ccccc1N=[N+]=[N-]", "azide"), (BENZOYL_PEROXIDE, "peroxide"), ("CC(C)(C)OO", "peroxide")])
def test_groups_are_found(smiles, group):
    assert set(energy_of(smiles).groups) == {group}


@pytest.mark.parametrize("smiles", [
    "CN(C)N=O", "COC(=O)c1ccccc1C(=O)OC", "CCOCC", "c1ccc2[nH]nnc2c1", "OCC(O)CO", "COCOC",
    "c1ccccc1N=Nc1ccccc1"])
def test_ordinary_groups_are_none(smiles):
    """Nitrosamines, esters, ethers, triazoles, polyols, acetals and azo dyes are left alone."""
    assert energy_of(smiles).groups == ()


@pytest.mark.parametrize("smiles", [TNT, DNT, RDX, NITROGLYCERIN, BENZOYL_PEROXIDE,
                                    "CCN=[N+]=[N-]", "CC(C)(C)OO"])
def test_explosives(smiles):
    assert energy_of(smiles).explosive


@pytest.mark.parametrize("smiles", [TRIFLURALIN, "CN(=O)=O", "O=N(=O)c1ccccc1", "CCO",
                                    "CCOP(=S)(OCC)Oc1ccc(cc1)[N+](=O)[O-]"])
def test_others_are_not_called_explosive(smiles):
    assert not energy_of(smiles).explosive


def test_unreadable_structures_say_nothing():
    assert energy_of("C1CC") is None
    assert energy_of("[Na+].[N-]=[N+]=[N-]") is None


def test_a_new_analyte_is_judged_by_its_structure():
    found = cautions(["acetonitrile"], (), ["Compound E"], structures={"Compound E": RDX})
    assert [f.code for f in found if f.severity == "stop"] == ["energetic_residue"]
    assert "Compound E" in next(f.message for f in found if f.severity == "stop")


def test_nitro_pesticides_are_a_caution_not_a_stop():
    found = cautions(["toluene"], ["n-dodecane"], ["trifluralin", "parathion"])
    assert not [f for f in found if f.severity == "stop"]
    assert "energetic_group" in {f.code for f in found}
