# Two commands do all set-up: `make demo` answers one real question, `make test` runs the tests.
PYTHON ?= python3.11
BIN := .venv/bin

.PHONY: demo test bench lint serve screenshots knowledge lock clean

demo: .venv/.stamp
	$(BIN)/crosspin ask --times seed_data/asks/hill-patrol.json

test: .venv/.stamp
	$(BIN)/python -m pytest

# Everything about scale and speed, beside other engines, into docs/benchmarks.md; SIZES="1000 10000" for less.
bench: .venv/.bench-stamp
	PYTHONPATH=tests $(BIN)/python -m benchmarks $(if $(SIZES),--sizes $(SIZES))

lint: .venv/.lint-stamp
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

serve: .venv/.stamp
	$(BIN)/crosspin serve

# Pictures of the main pages, to be looked at; needs a browser (apt-get install chromium fonts-liberation).
screenshots: .venv/.stamp
	$(BIN)/python tests/screenshots.py var/screenshots

# Write down what the ontology knows.
knowledge: .venv/.stamp
	$(BIN)/python -m crosspin.answer.knowledge docs/knowledge.md

# Take the newest versions that pyproject.toml admits and write them down.
lock: clean
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --upgrade "pip>=25.1"
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable . --group test --group lint --group bench
	echo "# Exact versions that the tests last passed with; regenerate with: make lock" > requirements.lock
	$(BIN)/python -m pip freeze --exclude-editable >> requirements.lock

clean:
	rm -rf .venv

.venv/.stamp: pyproject.toml requirements.lock
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --upgrade "pip>=25.1"
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint requirements.lock --editable . --group test
	touch $@

.venv/.bench-stamp: .venv/.stamp
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint requirements.lock --group bench
	touch $@

.venv/.lint-stamp: .venv/.stamp
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint requirements.lock --group lint
	touch $@
