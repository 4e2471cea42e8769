# Everything here sets itself up first; nothing but Python 3.11 or newer and make is needed.
# Another Python: make PYTHON=python3.12 test

PYTHON ?= python3
RUN = .venv/bin/python

.PHONY: nodes nodes-latency help demo wheel test test-base setup setup-test check style types arrows pictures guide newcomer bench-board bench-damage bench-rolling bench-ingest bench-seek bench-window bench-analysis bench-study bench-page faults faults-radio branches coverage coverage-study fuzz kill soak mutants thresholds

help:
	@echo "make demo    play an invented session through the live pipeline"
	@echo "make test    run the whole suite: style, types, import arrows, tests"
	@echo "make test-base    the tests that the base installation can run, without any extra"
	@echo "make check   style, types and import arrows alone"
	@echo "make newcomer    go the way in on bare systems (root, debootstrap)"
	@echo "make wheel    build what users install, with the exact versions and a list of its parts"
	@echo "make guide    build the guide as a site"
	@echo "make pictures    make the pictures of the documents again"
	@echo "make bench-rolling, bench-capture, bench-damage, bench-ingest, bench-seek, bench-window,"
	@echo "     bench-analysis, bench-study, bench-page, faults, faults-radio, coverage, coverage-study"
	@echo "             measure what the documents state; faults and both coverages take long"
	@echo "make fuzz, kill, soak"
	@echo "             hostile input for whatever reads; recordings that come to grief, or last for hours"
	@echo "make nodes, nodes-latency"
	@echo "             whether all that nodes hear arrives once, through a network that is cut; and how soon"
	@echo "make branches"
	@echo "             which branches of the core its tests take; below 95 % it fails; takes long"
	@echo "make mutants, thresholds"
	@echo "             ask which small faults and moved thresholds no test notices; take long"

setup:
	@$(PYTHON) set_up.py run

setup-test:
	@$(PYTHON) set_up.py test

demo: setup
	@$(RUN) -m live demo

# The tests run and are told of even where the text of the code has a fault.  Four of them at once,
# since those with real components wait as long as they work: on two cores a third less than with two.
test: setup-test
	@failed=0; SIDEBEAT_SET_UP=test $(MAKE) --no-print-directory --keep-going check || failed=1; \
	echo "$(RUN) -m pytest -n 4 --dist worksteal"; $(RUN) -m pytest -n 4 --dist worksteal || failed=1; \
	exit $$failed

# What needs the window, the report or other extras is skipped, by name and with the reason.
test-base:
	$(PYTHON) -m venv .venv-base
	.venv-base/bin/python -m pip install -qq --disable-pip-version-check --editable ".[test-base]"
	env -u CI .venv-base/bin/python -m pytest -n 4 --dist worksteal

check: style types arrows

style: setup-test
	$(RUN) -m ruff check .
	$(RUN) -m ruff format --check .

types: setup-test
	$(RUN) -m mypy

arrows: setup-test
	.venv/bin/lint-imports

pictures: setup
	@$(RUN) -m live.views.window.screenshots
	@$(RUN) -m live.views.window.setup.pictures
	@$(RUN) -m live.views.window.moving_picture
	@if command -v chromium >/dev/null; then $(RUN) -m benchmarks.phone_picture; fi

# As root, with debootstrap: make newcomer SUITES="trixie sid" TESTS=1
newcomer:
	TESTS=$(TESTS) .ci/newcomer $(SUITES)

# ARGS=--try installs it into a new environment and plays the demo outside of this tree.
wheel: setup-test
	$(RUN) -m benchmarks.release $(ARGS)

guide: setup
	@$(RUN) -m pip install -qq --disable-pip-version-check --editable ".[guide]"
	$(RUN) -m mkdocs build --quiet
	@echo site/index.html

bench-board bench-damage bench-rolling bench-ingest bench-seek bench-window bench-study bench-page: setup-test
	QT_QPA_PLATFORM=offscreen $(RUN) -m benchmarks.$(subst -,_,$@) $(ARGS)

# Faults that were noticed before are not run again; ARGS=--afresh forgets them.
mutants: setup-test
	$(RUN) -m benchmarks.mutants $(ARGS)

# One room alone, with what was measured of the others last: make branches ARGS="analysis/board"
branches: setup-test
	$(RUN) -m benchmarks.branches $(ARGS)

# 60 s for each target, seeded: make fuzz ARGS="--seconds 600 --seed 7 capture"
fuzz: setup-test
	$(RUN) -m benchmarks.fuzz $(ARGS)

# Writes what it counts into docs/reliability.md.
kill: setup-test
	$(RUN) -m benchmarks.kill --markdown docs/reliability.md $(ARGS)

# make soak ARGS="--hours 0.3"; 12 h without ARGS.
soak: setup-test
	$(RUN) -m benchmarks.soak $(ARGS)

# 20 sensors over 4 nodes for 10 min, through a network that is cut: make nodes ARGS="--minutes 2"
nodes nodes-latency: setup-test
	$(RUN) -m benchmarks.$(subst -,_,$@) $(ARGS)

thresholds: setup-test
	$(RUN) -m benchmarks.moved_thresholds $(ARGS)

faults coverage coverage-study: setup-test
	$(RUN) -m benchmarks.$(subst -,_,$@) $(ARGS)

faults-radio: setup-test
	QT_QPA_PLATFORM=offscreen $(RUN) -m benchmarks.radio_faults --markdown docs/reliability.md $(ARGS)

# mcap is wanted for this comparison alone.
bench-capture: setup-test
	@$(RUN) -m pip install -qq --disable-pip-version-check --editable ".[bench]"
	$(RUN) -m benchmarks.bench_capture $(ARGS)

# arch is wanted for this comparison alone; one thread of linear algebra, as the program has itself.
bench-analysis: setup-test
	@$(RUN) -m pip install -qq --disable-pip-version-check --editable ".[bench]"
	OPENBLAS_NUM_THREADS=1 $(RUN) -m benchmarks.bench_analysis $(ARGS)
