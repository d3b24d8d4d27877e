# `make demo` and `make test` need only Python 3.11 or newer and make; everything else they set up themselves.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test check fix lock clean

demo: $(VENV)/runtime.stamp
	@$(BIN)/lantern demo

test: $(VENV)/test.stamp
	@sh tests/debian_packages.sh
	@$(MAKE) --no-print-directory check
	$(BIN)/python -m pytest

# What needs no server: formatting, lint, types, layers, and that the figures in docs/ are the code's own.
check: $(VENV)/test.stamp
	$(BIN)/ruff format --check
	$(BIN)/ruff check
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python docs/checks.py --check
	$(BIN)/python docs/reference.py --check

fix: $(VENV)/test.stamp
	$(BIN)/ruff format
	$(BIN)/ruff check --fix

lock:
	$(PYTHON) -m piptools compile -q $(LOCK) --extra build -o requirements.lock pyproject.toml
	$(PYTHON) -m piptools compile -q $(LOCK) --extra build --extra test -o requirements-test.lock pyproject.toml
LOCK := --generate-hashes --strip-extras --allow-unsafe --no-header \
	--no-emit-index-url --no-emit-find-links --no-emit-trusted-host --no-emit-options

$(VENV)/runtime.stamp: requirements.lock pyproject.toml | $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/test.stamp: requirements-test.lock pyproject.toml | $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements-test.lock
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

# Debian splits venv off Python; where we may, we install it, else we say what is missing.
$(VENV):
	@$(PYTHON) -c 'import sys; sys.exit("Lantern needs Python 3.11 or newer; this is " + sys.version.split()[0] if sys.version_info < (3, 11) else 0)'
	@$(PYTHON) -c 'import ensurepip' 2>/dev/null || \
		{ [ "$$(id -u)" = 0 ] && apt-get update -qq && apt-get install -y -qq python3-venv; } || \
		{ echo "Python's venv is missing: sudo apt install python3-venv"; exit 1; }
	$(PYTHON) -m venv $(VENV)

clean:
	rm -rf $(VENV)
