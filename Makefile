# Everything runs from a virtual environment made here; nothing but Python 3.11 or newer is needed.
PYTHON ?= python3
BIN := .venv/bin
STAMP := .venv/.ready

.PHONY: demo picture test lint types bench schemas lock clean

demo: $(STAMP)
	$(BIN)/wakerail demo --out out/demo

# The README's picture of a report: the newest demo's, as a browser shows it (needs Chromium).
picture:
	chromium --headless --no-sandbox --disable-gpu --hide-scrollbars --window-size=900,2405 \
		--screenshot=docs/pictures/report.png "file://$(CURDIR)/$$(ls -t out/demo/*/report-*.html | head -1)"

test: $(STAMP)
	$(BIN)/python -m pytest -n auto tests

lint: $(STAMP)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: $(STAMP)
	for program in bus startup restart_latency safe_state analysis_speed boot_reading boot_transfer heat_faults plan simulated_shop; do $(BIN)/python benchmarks/$$program.py --short || exit 1; done

schemas: $(STAMP)
	$(BIN)/python -m wakerail.bus.asyncapi docs

$(STAMP): requirements.lock pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Wakerail needs Python 3.11 or newer; set PYTHON=")'
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	touch $@

# Pins every dependency with hashes and without addresses (needs uv); what only CI compares with has a lock of its own.
lock:
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header \
		--extra dev pyproject.toml -o requirements.lock
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header \
		--constraint requirements.lock tests/external/requirements.in -o tests/external/requirements.lock

clean:
	rm -rf .venv out var
