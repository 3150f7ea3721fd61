# `make start` and `make test` do all set-up alone, in .venv/. Needed beforehand: make, Python 3.11 or newer with venv.

VENV := .venv
PYTHON_HERE := $(VENV)/bin/python
PIP := $(PYTHON_HERE) -m pip --quiet --disable-pip-version-check --no-input
INSTALL := $(PIP) install --no-compile
COMPILE := $(PYTHON_HERE) -m compileall -qq -j 0
BUILT := src/forestay/web/static/built/manifest.json
BUILD_INPUTS := pyproject.toml src/forestay/__init__.py $(wildcard packaging/*.py) \
	$(shell find frontend -type f -not -path '*/node_modules/*' 2>/dev/null)

# Python starts hundreds of times here: what it has compiled is kept, whatever the shell says.
export PYTHONDONTWRITEBYTECODE :=

.DEFAULT_GOAL := help
.PHONY: help start test kernels lint types tests docs catalogue lock clean FORCE

help: ## this list
	@sed -n 's/^\([a-z]*\):.*## /make \1\t/p' $(MAKEFILE_LIST)

start: $(VENV)/.package ## install what is needed and serve the invented cases on this machine
	$(VENV)/bin/forestay serve --demo

test: $(VENV)/.checks ## all checks: style, types, documentation, and tests with a real browser
	+$(MAKE) --no-print-directory --jobs=2 --output-sync=target kernels lint types docs
	+$(MAKE) --no-print-directory tests

kernels: $(VENV)/.checks ## the compiled solvers, once for all processes that ask them
	$(PYTHON_HERE) -c "from forestay.mechanics import fast; from forestay.optics import ray_fast; fast.start(); ray_fast.start()"

lint: $(VENV)/.checks ## style and layout of the code
	$(VENV)/bin/ruff check
	$(VENV)/bin/ruff format --check

types: $(VENV)/.checks ## strict types
	$(VENV)/bin/mypy

tests: $(VENV)/.checks ## the tests; Chromium and PostgreSQL are installed where they are missing
	CHROMIUM="$$(sh packaging/chromium.sh)" && export CHROMIUM OPENBLAS_NUM_THREADS=1 && \
		POSTGRESQL_BIN="$$(sh packaging/postgresql.sh)" && export POSTGRESQL_BIN OPENBLAS_NUM_THREADS=1 && \
		$(VENV)/bin/pytest --numprocesses auto --dist loadfile --no-loadscope-reorder

docs: $(VENV)/.checks ## the documentation, with warnings as errors, and its examples
	$(VENV)/bin/sphinx-build --fail-on-warning --quiet -d docs/_build/doctrees -b html docs docs/_build/html
	$(VENV)/bin/sphinx-build --fail-on-warning --quiet -d docs/_build/doctrees -b doctest docs docs/_build/doctest

catalogue: $(VENV)/.checks ## the catalogue of all sentences that a person may read
	$(PYTHON_HERE) packaging/catalogue.py
	$(PYTHON_HERE) packaging/translations.py

lock: ## pin the dependencies again (needs uv)
	uv pip compile --quiet --universal --generate-hashes --no-emit-index-url --no-header --python-version 3.11 \
		--extra dev --extra docs pyproject.toml -o requirements-dev.lock
	uv pip compile --quiet --universal --generate-hashes --no-emit-index-url --no-header --python-version 3.11 \
		--extra postgres --extra oidc --extra encrypted --extra exchange --extra scale --extra fast \
		--no-annotate -c requirements-dev.lock pyproject.toml -o requirements.lock

clean: ## remove what make has made here
	rm -rf $(VENV) docs/_build docs/generated src/forestay/web/static/built frontend/node_modules

# Each stamp in .venv/ is made again when what it rests on has changed.
$(VENV)/.created: packaging/environment.sh
	sh packaging/environment.sh $(VENV)
	@touch $@

$(VENV)/.runtime: $(VENV)/.created requirements.lock
	$(INSTALL) --require-hashes -r requirements.lock
	$(COMPILE) $(VENV)/lib || true # some packages carry files that are no Python
	@touch $@

$(VENV)/.package: $(VENV)/.runtime $(BUILD_INPUTS)
	$(INSTALL) --no-deps --editable .
	$(COMPILE) src/forestay
	@touch $@

$(VENV)/.checks: $(VENV)/.package requirements-dev.lock
	$(INSTALL) --require-hashes -r requirements-dev.lock
	@touch $@

ifeq ($(wildcard $(BUILT)),)
$(VENV)/.package: FORCE
endif
ifneq ($(shell $(PYTHON_HERE) -c 'print("works")' 2>/dev/null),works)
$(VENV)/.created: FORCE
endif
FORCE:
