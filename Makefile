# Everything runs in .venv, which is made on first use and renewed when pyproject.toml changes.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --quiet --disable-pip-version-check
SAY := @printf '\n== %s\n'

TESTS := pytest -q -n 2 --dist worksteal
KERNEL_TESTS := pytest -q -m kernel tests
IN_FULL := tests/knocks tests/law/test_survey.py tests/law/test_survey_cluster.py \
  tests/law/test_edits.py tests/law/test_events_laws.py tests/oracle/test_network_lcapy.py \
  tests/contract/test_installed.py tests/page/test_evidence_page.py tests/page/test_sittings.py
KERNEL_COVERAGE := 95
FUZZ_MINUTES ?= 10
BATTERY ?=

.PHONY: help demo docs check test plain-kernels checked-kernels lint trust battery fuzz bench clean

help:
	@echo "make demo    the whole job on the packaged scenario, into demo/"
	@echo "make check   lint, types, layers, and what takes milliseconds: for every change"
	@echo "make test    lint, types, layers, every test, and the kernels' extra runs"
	@echo "make trust   the hard knocks in full: bad inputs, kills, full disks (half an hour)"
	@echo "make battery pairs of files with known differences, and what is said of each (BATTERY='--short')"
	@echo "make fuzz    every reader of a user's files under a coverage-guided fuzzer, ten minutes"
	@echo "make docs    the API reference, into build/docs"
	@echo "make bench   speed and memory beside their bounds"
	@echo "make lint    style, types and layers only"
	@echo "make clean   remove what these commands made (benchmark results stay)"

demo: $(VENV)/use.stamp
	$(SAY) "demo: figures, music and a comparison of the scenario's stages, into demo/"
	@$(BIN)/stagefx demo demo --force

check: lint
	$(SAY) "tests: contracts, and published figures"
	@$(BIN)/python -m $(TESTS) -m "not slow" tests/contract tests/published

test: lint
	$(SAY) "tests: every test, and every example in a docstring"
	@$(BIN)/python -m $(TESTS) --doctest-modules stagefx tests
	@$(MAKE) --no-print-directory --jobs=2 --output-sync=target plain-kernels checked-kernels

plain-kernels: $(VENV)/develop.stamp
	$(SAY) "tests: kernels as plain Python, each line counted (at least $(KERNEL_COVERAGE) %)"
	@NUMBA_DISABLE_JIT=1 $(BIN)/python -m coverage run -m $(KERNEL_TESTS)
	@$(BIN)/python -m coverage report --fail-under=$(KERNEL_COVERAGE)

checked-kernels: $(VENV)/develop.stamp
	$(SAY) "tests: kernels compiled with every index checked"
	@NUMBA_BOUNDSCHECK=1 NUMBA_CACHE_DIR="$(CURDIR)/$(VENV)/checked-kernels" \
	  $(BIN)/python -m $(KERNEL_TESTS)

trust: $(VENV)/develop.stamp
	$(SAY) "trust: the hard knocks, every count whole, and each case that is tried in turn elsewhere"
	@STAGEFX_COUNTS=whole $(BIN)/python -m $(TESTS) --timeout=3600 $(IN_FULL)
	$(SAY) "trust: the battery on every piece, and on the folder in STAGEFX_TRUST_MUSIC if there is one"
	@STAGEFX_COUNTS=whole $(BIN)/python -m $(TESTS) --timeout=3600 tests/battery
	$(SAY) "trust: the lowest version of every library, in $(VENV)/lowest"
	@$(BIN)/python -m tests.knocks.lowest $(VENV)/lowest
	$(SAY) "trust: two hundred files surveyed"
	@$(BIN)/python -m tests.benchmarks survey

battery: $(VENV)/develop.stamp
	$(SAY) "battery: each case on each piece (options in BATTERY, such as BATTERY='--short --case cut/*')"
	@$(BIN)/python -m tests.battery $(BATTERY)

fuzz: $(VENV)/fuzz.stamp
	$(SAY) "fuzz: $(FUZZ_MINUTES) minutes over every reader of a user's files"
	@$(BIN)/python -m tests.fuzz --minutes $(FUZZ_MINUTES)

lint: $(VENV)/develop.stamp
	$(SAY) "style: ruff"
	@$(BIN)/ruff check --quiet
	@$(BIN)/ruff format --check --quiet
	$(SAY) "types: mypy"
	@$(BIN)/mypy
	$(SAY) "layers: import-linter"
	@$(BIN)/lint-imports

docs: $(VENV)/docs.stamp
	$(SAY) "docs: every public name, into build/docs"
	@$(BIN)/python -m pdoc --docformat numpy --output-directory build/docs stagefx '!stagefx\..*'

bench: $(VENV)/develop.stamp
	$(SAY) "benchmarks: each ratio beside its bound, kept in bench-results/"
	@$(BIN)/python -m tests.benchmarks

clean:
	$(SAY) "removing .venv, caches, build products and demo/"
	@rm -rf $(VENV) demo build dist *.egg-info .coverage \
	  .hypothesis .import_linter_cache .mypy_cache .pytest_cache .ruff_cache
	@find stagefx cli tests samples -name __pycache__ -type d -prune -exec rm -rf {} +

$(BIN)/pip:
	$(SAY) "environment: making $(VENV) with $$($(PYTHON) --version)"
	@$(PYTHON) -m venv $(VENV)

$(VENV)/use.stamp: pyproject.toml | $(BIN)/pip
	$(SAY) "environment: installing stagefx into $(VENV) (a minute or two the first time)"
	@$(PIP) install --editable .
	@touch $@

$(VENV)/develop.stamp: pyproject.toml | $(BIN)/pip
	$(SAY) "environment: installing stagefx and its test tools into $(VENV) (some minutes the first time)"
	@$(PIP) install --editable '.[test,lint]'
	@touch $(VENV)/use.stamp $@

$(VENV)/docs.stamp: $(VENV)/use.stamp
	$(SAY) "environment: adding the maker of the API reference"
	@$(PIP) install --editable '.[docs]'
	@touch $@

$(VENV)/fuzz.stamp: $(VENV)/develop.stamp
	$(SAY) "environment: adding the fuzzer"
	@$(PIP) install --editable '.[fuzz]'
	@touch $@
