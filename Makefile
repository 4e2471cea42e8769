# Everything here sets itself up first; nothing but Python 3.11 or newer and make is needed.
# Another Python: make PYTHON=python3.12 test

PYTHON ?= python3
RUN = .venv/bin/python

.PHONY: help demo test setup setup-test check

help:
	@echo "make demo    play an invented session through the live pipeline"
	@echo "make test    run the whole suite: tests, style, types, import arrows"

setup:
	@$(PYTHON) set_up.py run

setup-test:
	@$(PYTHON) set_up.py test

demo: setup
	@$(RUN) -m live demo

test: setup-test check
	$(RUN) -m pytest -n 2 --dist loadfile

# What a machine can say about the text of the code, quickest first.
check: setup-test
	$(RUN) -m ruff check .
	$(RUN) -m ruff format --check .
	$(RUN) -m mypy
	.venv/bin/lint-imports
