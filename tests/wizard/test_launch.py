"""Starting the server: the words it says and the words it passes on."""

from __future__ import annotations

import pytest

from wizard.launch import APP, address, build_parser, streamlit_arguments


@pytest.mark.parametrize(("words", "said"), [
    ([], "http://localhost:8501"),
    (["--host", "0.0.0.0", "--port", "9000"], "http://localhost:9000"),
    (["--host", "bench.example"], "http://bench.example:8501"),
])
def test_the_address_is_one_a_browser_on_this_machine_finds(words, said):
    assert address(build_parser().parse_args(words)) == said


def test_the_browser_opens_unless_told_otherwise():
    for words, headless in (([], "false"), (["--no-browser"], "true")):
        passed = streamlit_arguments(build_parser().parse_args(words))
        assert passed[:2] == ["run", str(APP)]
        assert passed[passed.index("--server.headless") + 1] == headless
