# Every target sets up its own environment in .venv; Python 3.11 or later and make are enough.
PYTHON ?= $(shell command -v python3.11 || command -v python3)
BIN = .venv/bin
READY = .venv/.ready

.PHONY: demo test lint bench tables ledger fuzz clean

demo: $(READY)  ## write the sample rides, analyse them, say where the report is
	@$(BIN)/hillproof demo

test: $(READY)  ## all tests that are not slow
	@$(BIN)/python -m pytest -q -n auto --dist loadfile

lint: $(READY)  ## ruff and mypy
	@$(BIN)/ruff check . && $(BIN)/ruff format --check . && $(BIN)/mypy

bench: $(READY)  ## speed, memory and size as ratios measured in one run
	@for name in ride_command reading book day_log; do echo "== $$name"; $(BIN)/python benchmarks/$$name.py || exit 1; done

TABLES = pack_truth limits_truth restated_truth compare_truth hills_truth grade_truth descents_truth cutout_truth clocks clocks_simulated ageing_truth predict_truth probe_truth third_truth ageing_rides months_truth

DRIVES =

tables: $(READY)  ## the measured tables of truth: long; with DRIVES=FOLDER grades on real drives, too
	@for name in $(TABLES); do echo "== $$name"; PYTHONPATH=.:tests $(BIN)/python benchmarks/tables/$$name.py || exit 1; done
	@if [ -n "$(DRIVES)" ]; then echo "== real_grades"; $(BIN)/python benchmarks/tables/real_grades.py "$(DRIVES)"; fi

fuzz: $(READY)  ## a minute of coverage-guided fuzzing of the reader
	@$(BIN)/python -m pip install -q --disable-pip-version-check atheris
	@PYTHONPATH=.:tests $(BIN)/python benchmarks/fuzz/fuzz_reader.py -max_total_time=60

ledger: $(READY)  ## how many columns of made logs are read right, and whether a wrong one was called sure
	@$(BIN)/python benchmarks/recognition.py

$(READY): pyproject.toml constraints.txt
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "hillproof needs Python 3.11 or later: make PYTHON=/path/to/python3.11")'
	@echo "setting up .venv (once)"
	@$(PYTHON) -m venv .venv
	@$(BIN)/python -m pip install -q --disable-pip-version-check -c constraints.txt -e '.[test,reference,lint]'
	@$(BIN)/python -m compileall -q importers analyzer reports hillproof  # as installing a wheel does
	@touch $(READY)

clean:
	rm -rf .venv build dist *.egg-info .pytest_cache .mypy_cache .ruff_cache hillproof-demo
