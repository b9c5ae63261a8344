# make demo   once round the job, in the terminal        make test   everything CI runs
# make quick  lint and the fast tests                    make facts  outside checks, with the agreement reached
# make bench  ratios against peers                       make docs   the generated reference pages
PYTHON ?= python3
BIN := .venv/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check install --quiet

.PHONY: demo test quick lint facts bench docs lock packages torture clean

demo: .venv/.run
	$(BIN)/drybank demo --out demo

test: .venv/.dev packages lint
	$(BIN)/pytest -n 2 --dist loadfile --no-loadscope-reorder --durations=15

quick: .venv/.dev lint
	$(BIN)/pytest -n 2 --dist loadfile -m "not slow" -x

facts: .venv/.dev
	$(BIN)/pytest -m facts -q

lint: .venv/.dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-logo

bench: .venv/.dev
	@for file in bench/*.py; do echo "== $$file"; $(BIN)/python -P $$file || exit 1; done

docs: .venv/.dev
	$(BIN)/python -m tests.house.write_docs

# A new environment only when the lock changes; nothing is downloaded otherwise.
.venv/.run: requirements/run.txt pyproject.toml
	test -x $(BIN)/python || $(PYTHON) -m venv .venv
	@echo "Installing what Drybank needs (once; about a minute) ..."
	$(PIP) --require-hashes -r requirements/run.txt
	$(PIP) --no-deps --no-build-isolation --editable .
	touch $@

.venv/.dev: requirements/dev.txt .venv/.run
	@echo "Installing what the tests need (once) ..."
	$(PIP) --require-hashes -r requirements/dev.txt
	touch $@

# Debian packages that some tests drive; only fetched when missing and when allowed to.
packages:
	@want=""; \
	[ -n "$$(ls /usr/lib/postgresql/*/bin/initdb 2>/dev/null)" ] || want="$$want postgresql"; \
	[ -x /usr/bin/chromium ] || want="$$want chromium"; \
	[ -x /usr/sbin/nginx ] || want="$$want nginx-light"; \
	if [ -n "$$want" ]; then \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    echo "Installing for the tests:$$want ..."; \
	    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $$want >/dev/null; \
	  else echo "Not here:$$want. The tests that need it are skipped (apt install$$want)."; fi; fi

# Kills, races, full disks and torn pages, counted into docs/concepts/safety.md.
torture: .venv/.dev packages
	$(BIN)/python tests/book/torture.py --kills 60 --write

# Resolving anew needs uv; installing does not.
lock:
	uv pip compile -q --universal --generate-hashes --no-emit-index-url --no-emit-find-links --no-header --python-version 3.11 --extra build pyproject.toml -o requirements/run.txt
	uv pip compile -q --universal --generate-hashes --no-emit-index-url --no-emit-find-links --no-header --python-version 3.11 --extra build --extra dev pyproject.toml -o requirements/dev.txt

clean:
	rm -rf demo .mypy_cache .ruff_cache .import_linter_cache
