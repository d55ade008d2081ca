# `make run` shows Sumpbook, `make test` proves it. `make help` lists the rest.
# Options: PORT=8001 make run; make test JOBS=0 ARGS="tests/parts -x" (JOBS=0: one process, as a debugger wants it)

PYTHON := .venv/bin/python
STATIC := staticfiles/staticfiles.json
# The checks open neither the demo's book nor a garage's own; the tests see to that themselves.
CHECKING := SUMPBOOK_DATA=$(CURDIR)/data/check
JOBS ?= auto

.PHONY: help run test test-postgres prove lint format pictures always
.NOTPARALLEL:
.DEFAULT_GOAL := help

help: ## list these commands
	@sed -n 's/^\([a-z-]*\):[^#]*## /\1\t/p' Makefile | expand -t 16

run: $(STATIC) ## install what is missing, load the demo garage, and open it at http://127.0.0.1:8000/
	@$(PYTHON) manage.py demo
	@exec $(PYTHON) bin/serve --demo

test: .venv/installed-test ## run the tests, one process a core
	@$(PYTHON) -m pytest --numprocesses $(JOBS) --maxprocesses 4 --dist loadfile --no-loadscope-reorder $(ARGS)

test-postgres: .venv/installed-test ## run the same tests on a PostgreSQL of their own
	@bin/install postgres
	@bin/with-postgres $(MAKE) --no-print-directory test

prove: .venv/installed-test ## run the long proofs: every page at every size, light and dark (before a release)
	@$(PYTHON) -m pytest -m prove --timeout 0 $(ARGS)

lint: .venv/installed-test ## read the code: ruff, mypy, missing migrations, Django's deployment checks
	@$(PYTHON) -m ruff check .
	@$(PYTHON) -m ruff format --check .
	@$(CHECKING) $(PYTHON) -m mypy
	@$(CHECKING) $(PYTHON) manage.py makemigrations --check --dry-run
	@$(CHECKING) SUMPBOOK_HTTPS=1 $(PYTHON) manage.py check --deploy --fail-level WARNING

format: .venv/installed-test ## lay the code out as `make lint` wants it
	@$(PYTHON) -m ruff check --select I --fix --quiet .
	@$(PYTHON) -m ruff format .

pictures: $(STATIC) .venv/installed-test ## take the pictures of the README anew, from the demo
	@$(PYTHON) manage.py demo
	@$(PYTHON) bin/pictures

# bin/install changes these files only when it installed something.
.venv/installed-run .venv/installed-test: .venv/installed-%: always
	@bin/install $*

# Directories stand in the list too: a removed file shows in them.
$(STATIC): .venv/installed-run garage/settings.py $(shell find static */static 2>/dev/null)
	@echo "Collecting the static files"
	@$(PYTHON) manage.py collectstatic --no-input --verbosity 0
