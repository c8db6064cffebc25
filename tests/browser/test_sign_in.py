"""Signing in with a real OpenID Connect provider: who may what, and who did what."""

from __future__ import annotations

import json
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import quote, urlsplit

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from experiments import example_dossiers, service
from experiments.users import User
from tests.browser.reading import PATIENCE_MS, says, settled, visit
from tests.browser.running import START_S, Wizard, free_port, session_of

pytestmark = [pytest.mark.browser, pytest.mark.slow]

ADA, GRACE = "ada@lab.example", "grace@lab.example"
ROLES = f'read = ["*@lab.example"]\nenter = ["{ADA}"]\napprove = ["{GRACE}"]\n'
PEOPLE = {
    ADA: {"email": ADA, "email_verified": True, "name": "Ada"},
    GRACE: {"email": GRACE, "name": "Grace"},
    "rhea": {"email": "rhea@lab.example", "name": "Rhea"},
    "eve": {"email": "eve@elsewhere.example", "name": GRACE},
    "mallory": {"name": GRACE},
    "trudy": {"email": GRACE, "email_verified": False},
}
ROWS = "Rows copied from a spreadsheet, with their header"
PASTED = ("trial;set_temperature_c;ramp_rate_mbar_per_min;end_pressure_mbar;run_time_min;"
          "recovery_percent:QX-17\n;50;40;60;26,5;91,2")


@contextmanager
def provided() -> Iterator[str]:
    """An OpenID Connect provider in a process of its own; its address."""
    port = free_port()
    words = [sys.executable, "-W", "ignore", "-m", "oidc_provider_mock", "--port", str(port),
             "--require-nonce"]
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    provider = f"http://localhost:{port}"
    end = time.monotonic() + START_S
    try:
        while True:
            try:
                urllib.request.urlopen(f"{provider}/.well-known/openid-configuration").close()
                break
            except OSError:
                assert process.poll() is None, "the provider did not start"
                assert time.monotonic() < end, "the provider does not answer"
                time.sleep(0.1)
        yield provider
    finally:
        process.kill()
        process.wait()


@pytest.fixture(scope="module")
def laboratory(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Wizard]:
    """A wizard whose people sign in; one dossier, d1, of the second example's job."""
    folder = tmp_path_factory.mktemp("signed")
    wizard = Wizard(folder)
    with provided() as provider:
        for subject, claims in PEOPLE.items():
            request = urllib.request.Request(
                f"{provider}/users/{quote(subject)}", json.dumps(claims).encode(),
                {"Content-Type": "application/json"}, method="PUT")
            with urllib.request.urlopen(request, timeout=10) as answer:
                assert answer.status == 204
        secrets, roles = folder / "secrets.toml", folder / "roles.toml"
        secrets.write_text(
            f'[auth]\nredirect_uri = "{wizard.url}/oauth2callback"\n'
            'cookie_secret = "for this test only"\nclient_id = "boilwright"\n'
            'client_secret = "for this test only too"\n'
            f'server_metadata_url = "{provider}/.well-known/openid-configuration"\n', "utf-8")
        roles.write_text(ROLES, "utf-8")
        wizard.settings = {"STREAMLIT_SECRETS_FILES": str(secrets),
                           "BOILWRIGHT_ROLES": str(roles)}
        with session_of(wizard, User("head")) as head:
            service.create(head, example_dossiers.names()[1].job, "d1")
        wizard.start()
        yield wizard
        wizard.stop()


@pytest.fixture
def signed_in(browser: Browser, laboratory: Wizard) -> Iterator:
    """Open a page as somebody, through the provider's own form."""
    contexts = []

    def sign_in(subject: str, path: str = "") -> Page:
        contexts.append(browser.new_context())
        page = contexts[-1].new_page()
        page.route("**/*", stay_here)
        page.goto(laboratory.url + path)
        page.get_by_role("button", name="Sign in").click(timeout=PATIENCE_MS)
        page.get_by_placeholder("sub").fill(subject, timeout=PATIENCE_MS)
        page.get_by_role("button", name="Authorize", exact=True).click()
        page.wait_for_url(f"{laboratory.url}/**", timeout=PATIENCE_MS)
        settled(page)
        return page

    yield sign_in
    for context in contexts:
        context.close()


def stay_here(route: Route) -> None:
    """No request leaves this machine, whatever style sheet a page of the provider names."""
    if urlsplit(route.request.url).hostname == "localhost":
        route.continue_()
    else:
        route.abort()


def events(laboratory: Wizard) -> list:
    with session_of(laboratory) as session:
        return session.store.events("d1")


def who(page: Page) -> str:
    return page.get_by_test_id("stSidebar").inner_text()


def test_nobody_sees_anything_before_signing_in(browser: Browser, laboratory: Wizard) -> None:
    context = browser.new_context()
    page = context.new_page()
    for path in ("", "/report?dossier=d1", "/results?dossier=d1&role=approve"):
        page.goto(laboratory.url + path)
        expect(page.get_by_role("heading", level=1)).to_have_text(
            "Who are you?", timeout=PATIENCE_MS)
        assert "QX-17" not in page.content()
    context.close()


def test_what_somebody_enters_stands_under_their_name(signed_in, laboratory: Wizard) -> None:
    page = signed_in(ADA)
    assert "ada@lab.example may read and enter." in who(page)
    visit(page, laboratory.url, "results", "d1")
    if not page.get_by_role("textbox", name=ROWS).count():
        page.get_by_text("Paste a table").click()
    rows = page.get_by_role("textbox", name=ROWS)
    rows.fill(PASTED)
    rows.press("Control+Enter")
    page.get_by_role("button", name="Record these results").click()
    says(page, "Recorded T")
    assert (events(laboratory)[-1].kind, events(laboratory)[-1].who) == ("recorded", ADA)
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/oauth2/end_session**", timeout=PATIENCE_MS)
    page.goto(laboratory.url)
    expect(page.get_by_role("heading", level=1)).to_have_text("Who are you?", timeout=PATIENCE_MS)


@pytest.mark.parametrize(("subject", "may", "refused"), [
    ("rhea", "rhea@lab.example may read.", "rhea@lab.example may not approve here."),
    (ADA, "ada@lab.example may read and enter.", "ada@lab.example may not approve here."),
])
def test_who_may_not_approve_is_told_so(signed_in, laboratory, subject, may, refused) -> None:
    before = events(laboratory)
    page = signed_in(subject)
    assert may in who(page)
    visit(page, laboratory.url, "report", "d1")
    page.get_by_role("textbox", name="Why").fill("because I say so")
    page.get_by_role("combobox", name="Next").click()
    page.get_by_role("option", name="retire").click()
    page.get_by_role("button", name="Retire the method").click()
    page.get_by_role("button", name="Retire it for good").click()
    expect(page.get_by_test_id("stMain")).to_contain_text(refused, timeout=PATIENCE_MS)
    assert events(laboratory) == before


@pytest.mark.parametrize("subject", ["eve", "mallory", "trudy"])
def test_a_name_or_an_unproven_address_gives_no_role(signed_in, laboratory, subject) -> None:
    """A stranger, one who calls herself like an approver, one whose address nobody verified."""
    page = signed_in(subject)
    assert "has no role here." in who(page)
    page.goto(f"{laboratory.url}/report?dossier=d1")
    expect(page.get_by_test_id("stMain")).to_contain_text("may not read here",
                                                          timeout=PATIENCE_MS)
    assert "QX-17" not in page.content()


def test_an_approver_closes_a_method_under_her_name(signed_in, laboratory: Wizard) -> None:
    page = signed_in(GRACE)
    assert "grace@lab.example may read and approve." in who(page)
    visit(page, laboratory.url, "report", "d1")
    page.get_by_role("textbox", name="Why").fill("no longer asked for")
    page.get_by_role("combobox", name="Next").click()
    page.get_by_role("option", name="retire").click()
    page.get_by_role("button", name="Retire the method").click()
    page.get_by_role("button", name="Retire it for good").click()
    says(page, "retired")
    last = events(laboratory)[-1]
    assert (last.kind, last.who, last.payload["to"]) == ("state changed", GRACE, "retired")
    assert last.payload["reason"] == "no longer asked for"
