# Everything a fresh clone needs: `make app` opens the wizard, `make test` runs every check of
# behaviour. Both set up what they need first; a second call starts at once.

SHELL := /bin/bash
PYTHON ?= $(shell for p in python3 python3.13 python3.12 python3.11; do \
	$$p -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && echo $$p && break; done)
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check
WORKERS ?= 2

.DEFAULT_GOAL := help
.PHONY: help app test lint types check pictures soak lock benchmark clean debian

help: ## show this list
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "make %-10s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

$(BIN)/python:
	@test -n "$(PYTHON)" || { echo "Boilwright needs Python 3.11 or newer: install it, or say make PYTHON=/path/to/python3." >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)

# The lock file is used as constraints: the same versions everywhere, and on each system only
# the packages it needs.
$(VENV)/.installed: pyproject.toml requirements.lock | $(BIN)/python
	$(PIP) install --quiet --constraint requirements.lock --editable ".[postgresql]"
	@touch $@

$(VENV)/.installed-dev: pyproject.toml requirements.lock | $(BIN)/python
	$(PIP) install --quiet --constraint requirements.lock --editable ".[dev,postgresql]"
	@touch $@ $(VENV)/.installed

app: $(VENV)/.installed ## set up and open the wizard in the browser
	$(BIN)/boilwright app

debian:
	@bash .ci/debian-packages

test: $(VENV)/.installed-dev debian ## set up and run the whole test suite, browser tests included
	$(BIN)/python -m pytest -n $(WORKERS) -m "not timed"
	$(BIN)/python -m pytest -m timed

lint: $(VENV)/.installed-dev ## style, and the direction of imports
	$(BIN)/ruff check .
	$(BIN)/lint-imports

types: $(VENV)/.installed-dev ## static types
	$(BIN)/mypy

check: lint types test ## what CI does

pictures: $(VENV)/.installed-dev debian ## take the pictures of the wizard again
	$(BIN)/python -m tests.browser.pictures

soak: $(VENV)/.installed-dev debian ## the long crash and load tests of the record
	BOILWRIGHT_SOAK=long $(BIN)/python -m pytest -m soak

benchmark: $(VENV)/.installed ## the quick comparison on simulated benches
	$(BIN)/boilwright benchmark --quick

lock: ## make requirements.lock again, in a clean environment
	rm -rf build/lock
	$(PYTHON) -m venv build/lock
	build/lock/bin/python -m pip install --quiet --disable-pip-version-check --editable ".[dev,postgresql]"
	{ echo "# Made by 'make lock'; the ranges are in pyproject.toml."; \
	  build/lock/bin/python -m pip --disable-pip-version-check freeze --exclude-editable; } > requirements.lock
	rm -rf build/lock

clean: ## remove the environment and everything generated
	rm -rf $(VENV) build dist *.egg-info .mypy_cache .pytest_cache .ruff_cache .hypothesis .import_linter_cache
	find models experiments wizard tests -name __pycache__ -type d -prune -exec rm -rf {} +
