"""Who may do what is said in a file of the laboratory's own, and nowhere else."""

from __future__ import annotations

import os
from pwd import getpwuid

import pytest

from experiments.bootstrap import local_user
from experiments.roles import signed_in_user
from experiments.storage.protocol import StoreError
from experiments.users import NotAllowed

FILE = """
read = ["*@lab.example"]
enter = ["ada@lab.example", "*@bench.lab.example"]
approve = ["grace@lab.example"]
"""


@pytest.fixture
def roles(tmp_path):
    path = tmp_path / "roles.toml"
    path.write_text(FILE, "utf-8")
    return lambda name: signed_in_user(name, str(path)).roles


@pytest.mark.parametrize(("name", "expected"), [
    ("ada@lab.example", {"read", "enter"}),
    ("ADA@Lab.Example", {"read", "enter"}),
    ("x@bench.lab.example", {"read", "enter"}),
    ("grace@lab.example", {"read", "approve"}),
    ("someone@lab.example", {"read"}),
    ("eve@lab.example.evil.example", set()),
    ("", set()),
])
def test_roles_come_from_the_file(roles, name, expected):
    assert roles(name) == expected


def test_without_a_file_a_signed_in_person_only_reads(monkeypatch):
    monkeypatch.delenv("BOILWRIGHT_ROLES", raising=False)
    user = signed_in_user("ada@lab.example")
    assert (user.roles, user.is_local) == ({"read"}, False)
    with pytest.raises(NotAllowed, match="may not enter"):
        user.must("enter")


@pytest.mark.parametrize(("text", "said"), [
    ("read = [", "cannot be read"), ("write = []", "'write'"), ("read = 'all'", "no list"),
    ("read = [1]", "no list"),
])
def test_a_wrong_file_is_one_sentence_with_a_cure(tmp_path, text, said):
    path = tmp_path / "roles.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(StoreError, match=said) as caught:
        signed_in_user("ada@lab.example", str(path))
    assert caught.value.cure


def test_a_missing_file_gives_no_roles_away(tmp_path):
    with pytest.raises(StoreError):
        signed_in_user("ada@lab.example", str(tmp_path / "nowhere.toml"))


def test_with_a_file_the_account_counts_and_not_a_name_that_was_set(monkeypatch, tmp_path):
    (tmp_path / "roles.toml").write_text('approve = ["grace"]\nread = ["*"]\n', "utf-8")
    monkeypatch.setenv("BOILWRIGHT_ROLES", str(tmp_path / "roles.toml"))
    for variable in ("BOILWRIGHT_USER", "LOGNAME", "USER", "USERNAME"):
        monkeypatch.setenv(variable, "grace")
    user = local_user()
    assert (user.name, user.roles, user.is_local) == (getpwuid(os.getuid()).pw_name, {"read"},
                                                      False)


def test_the_local_user_has_every_role_and_a_name(monkeypatch):
    monkeypatch.delenv("BOILWRIGHT_ROLES", raising=False)
    monkeypatch.setenv("BOILWRIGHT_USER", "Ada")
    user = local_user()
    assert (user.name, user.roles, user.is_local) == ("Ada", {"read", "enter", "approve"}, True)
