# Each target sets up what it needs from nothing but Python 3.11 or newer and works alone.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
WORKERS ?= 2

.PHONY: help demo test check bench release-check fuzz mutation clean
.DEFAULT_GOAL := help

help: ## say what can be made
	@grep -E '^[a-z-]+:.*## ' Makefile | sed -E 's/:.*## /\t/' | awk -F'\t' '{printf "  make %-15s %s\n", $$1, $$2}'

$(VENV)/pyvenv.cfg:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Python 3.11 or newer is needed; $$($(PYTHON) --version) was found. Name another: make PYTHON=python3.12 demo"; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || \
	  { echo "This Python cannot make a virtual environment. On Debian or Ubuntu: apt-get install python3-venv"; exit 1; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/.run: $(VENV)/pyvenv.cfg pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	@touch $@

$(VENV)/.test: $(VENV)/pyvenv.cfg pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[test]'
	@touch $@ $(VENV)/.run

demo: $(VENV)/.run ## plan a day on the invented demo river, no network needed; ends with the page's path
	$(BIN)/plumbrun demo --out maps/demo

test: $(VENV)/.test ## run all tests (browser tests need Debian's chromium; without it they are skipped, on CI they fail)
	$(BIN)/python -m pytest -n $(WORKERS)

check: $(VENV)/.test ## lint, one-way data flow, types
	$(BIN)/ruff check planner tests examples
	$(BIN)/ruff format --check planner tests examples
	$(BIN)/lint-imports
	$(BIN)/mypy

bench: $(VENV)/.test ## run every benchmark and print the design's figures with what was measured (half an hour)
	$(BIN)/python -m tests.bench.table

fuzz: $(VENV)/.test ## fuzz every reader by coverage, SECONDS_EACH=60; Linux
	$(BIN)/python -m pip install --quiet --disable-pip-version-check 'atheris>=2.3'
	$(BIN)/python -m tests.fuzz.guided $${SECONDS_EACH:-60}

mutation: $(VENV)/.test ## change one operator or number at a time in flow, sink and caution and see whether a test fails; EACH=30
	$(BIN)/python -m tests.mutation --each $${EACH:-30}

release-check: $(VENV)/.test ## build, install in clean environments (newest and lowest requirements, pipx), plan the demo
	$(BIN)/python -m tests.release.check --lowest --pipx

clean: ## remove the virtual environment and caches
	rm -rf $(VENV) .pytest_cache .ruff_cache .mypy_cache .import_linter_cache
