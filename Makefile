# Set-up needs only git, make and Python 3.11 or later; everything else is fetched by name and hash.
PYTHON ?= python3
VENV := .venv
ifeq ($(OS),Windows_NT)
BIN := $(VENV)/Scripts
else
BIN := $(VENV)/bin
endif
PY := $(BIN)/python
SOURCES := src tests benchmarks hatch_build.py
export PYTHONPATH := src

.PHONY: demo test room page check units browser lock clean

## The main job on the built-in example: shifts, drill sheet, verdicts, progress.
demo: $(VENV)/run.stamp
	$(PY) -m truestop demo --folder demo-out

## Everything that CI checks.
test: $(VENV)/test.stamp check units browser

## The practice room in the browser, built from source.
room: $(VENV)/run.stamp
	$(PY) -m pip install --quiet --no-deps .
	PYTHONPATH= $(BIN)/truestop room

check: $(VENV)/test.stamp
	$(PY) -m ruff check $(SOURCES)
	$(PY) -m ruff format --check $(SOURCES)
	$(PY) -m mypy
	$(BIN)/lint-imports

## The practice room's page, built in place.
page: $(VENV)/test.stamp
	$(PY) hatch_build.py

units: page
	$(PY) -m pytest -n 2 -m "not browser"

browser: page
	$(PY) -m pytest -m browser

## Renew the locked requirements.
lock: $(VENV)/test.stamp
	$(PY) -m pip install --quiet uv
	$(PY) -m uv pip compile pyproject.toml --universal --generate-hashes --no-emit-index-url --no-header -p 3.11 -o requirements/run.lock
	$(PY) -m uv pip compile pyproject.toml --group test --universal --generate-hashes --no-emit-index-url --no-header -p 3.11 -o requirements/test.lock
	$(PY) -m uv pip compile pyproject.toml --group test --group bench --universal --generate-hashes --no-emit-index-url --no-header -p 3.11 -o requirements/bench.lock

clean:
	$(PYTHON) -c "import shutil; [shutil.rmtree(p, ignore_errors=True) for p in ('$(VENV)', 'build', 'dist', 'demo-out')]"

$(VENV)/made.stamp:
	$(PYTHON) -m venv $(VENV)
	$(PY) -c "import pathlib; pathlib.Path('$@').touch()"

$(VENV)/run.stamp: $(VENV)/made.stamp requirements/run.lock
	$(PY) -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/run.lock
	$(PY) -c "import pathlib; pathlib.Path('$@').touch()"

$(VENV)/test.stamp: $(VENV)/made.stamp requirements/test.lock
	$(PY) -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/test.lock
	$(PY) -c "import pathlib; pathlib.Path('$@').touch()"
