# Two commands do all set-up: `make demo` answers one real question, `make test` runs the tests.
PYTHON ?= python3.11
BIN := .venv/bin

.PHONY: demo test lint serve clean

demo: .venv/.stamp
	$(BIN)/crosspin ask --times seed_data/asks/hill-patrol.json

test: .venv/.stamp
	$(BIN)/python -m pytest

lint: .venv/.lint-stamp
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

serve: .venv/.stamp
	$(BIN)/crosspin serve

clean:
	rm -rf .venv

.venv/.stamp: pyproject.toml
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --upgrade "pip>=25.1"
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable . --group test
	touch $@

.venv/.lint-stamp: .venv/.stamp
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --group lint
	touch $@
