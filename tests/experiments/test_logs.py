import io
import json
import logging

import pytest

from experiments import logs


@pytest.fixture
def lines(monkeypatch):
    """Configure the log in the asked form and read what it wrote."""
    stream = io.StringIO()

    def start(form, level="INFO"):
        monkeypatch.setenv("BOILWRIGHT_LOG", form)
        monkeypatch.setenv("BOILWRIGHT_LOG_LEVEL", level)
        logs.configure(stream)
        return lambda: stream.getvalue().splitlines()

    yield start
    logs.LOGGER.handlers.clear()
    logs.LOGGER.setLevel(logging.NOTSET)
    logs.LOGGER.propagate = True


def test_a_json_line_holds_the_event_and_its_facts(lines):
    read = lines("json")
    logs.note("dossier saved", dossier="abc", revision=3)
    (line,) = read()
    record = json.loads(line)
    assert record["event"] == "dossier saved"
    assert (record["dossier"], record["revision"], record["level"]) == ("abc", 3, "info")
    assert record["at"].endswith("+00:00")


def test_a_text_line_names_its_facts(lines):
    read = lines("text")
    logs.note("dossier saved", revision=3)
    assert read()[0].endswith("dossier saved revision=3")


def test_off_writes_nothing(lines):
    read = lines("off")
    logs.note("dossier saved")
    assert read() == []


def test_levels_below_the_asked_one_are_left_out(lines):
    read = lines("json", "warning")
    logs.note("quiet")
    logs.note("loud", logging.ERROR)
    assert [json.loads(line)["event"] for line in read()] == ["loud"]


def test_a_failure_is_timed_logged_and_passed_on(lines):
    read = lines("json")
    with pytest.raises(KeyError), logs.timed("fit", dossier="abc"):
        raise KeyError("x")
    record = json.loads(read()[0])
    assert (record["event"], record["failed"], record["level"]) == ("fit", "KeyError", "warning")
    assert record["ms"] >= 0


@pytest.mark.parametrize("form", ["json", "text"])
def test_a_value_in_a_line_cannot_start_a_second_one(lines, form):
    read = lines(form)
    logs.note("import", file='x"}\n{"event": "forged')
    assert len(read()) == 1


@pytest.mark.parametrize("name", ["BOILWRIGHT_LOG", "BOILWRIGHT_LOG_LEVEL"])
def test_an_unknown_choice_is_refused_with_the_choices(monkeypatch, name):
    monkeypatch.setenv(name, "loudly")
    with pytest.raises(ValueError, match=f"{name} is 'loudly'|{name} is 'LOUDLY'"):
        logs.configure()
