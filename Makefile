# One line for each thing a person does here. Stamps keep what is done from being done twice.
# Everything is installed by pip, which reads its own settings; no host is named here.
SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help
.DELETE_ON_ERROR:

PYTHON ?= python3
SERVE ?= yes
WORLD := demo-world
BOOK := $(WORLD)/demo.hangtab
BIN := .venv/bin
DEMO_QUESTION := harbour master glow sticker 34 graded

.PHONY: help setup dev demo test check bench backtest screenshots coverage format pins clean

help: ## list what can be made
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

# ---- the environment
.venv/.made: tools/make-venv
	@PYTHON="$(PYTHON)" tools/make-venv .venv
	@touch $@

.venv/.run: requirements/run.txt pyproject.toml | .venv/.made
	$(BIN)/python -m pip install --quiet --requirement requirements/run.txt
	$(BIN)/python -m pip install --quiet --no-deps --editable .
	@touch $@

.venv/.dev: requirements/dev.txt | .venv/.run
	$(BIN)/python -m pip install --quiet --requirement requirements/run.txt --requirement requirements/dev.txt
	@touch $@

.venv/.backtest: pyproject.toml | .venv/.dev
	$(BIN)/python -m pip install --quiet --editable '.[backtest]'
	@touch $@

setup: .venv/.run ## install what the program needs into .venv
dev: .venv/.run .venv/.dev ## and what its tests and checkers need

# ---- the demo: its world is written once, taken in once, fitted once
$(WORLD)/.written: | .venv/.run
	$(BIN)/python -m hangtab.demo $(WORLD)
	@touch $@

$(WORLD)/.taken-in: $(WORLD)/.written
	@rm -f $(BOOK) $(BOOK)-wal $(BOOK)-shm
	$(BIN)/hangtab new --book $(BOOK) --catalogue $(WORLD)/catalogue
	$(BIN)/hangtab take-in --book $(BOOK) $(WORLD)/sources
	@touch $@

$(WORLD)/.fitted: $(WORLD)/.taken-in
	$(BIN)/hangtab fit --book $(BOOK)
	@touch $@

demo: .venv/.run $(WORLD)/.fitted ## write the demo world, take it in, answer one question, serve it (SERVE=no: do not serve)
	$(BIN)/hangtab worth --book $(BOOK) "$(DEMO_QUESTION)"
ifneq ($(SERVE),no)
	$(BIN)/hangtab serve --book $(BOOK)
endif

# ---- tests and checkers
test: dev ## run every test
	@tools/need-chromium
	$(BIN)/python -m pytest

coverage: dev ## the same with branch coverage
	@tools/need-chromium
	$(BIN)/python -m pytest --cov --cov-report=term

check: dev ## run every checker
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/deptry .
	$(BIN)/vulture
	$(BIN)/codespell
	$(BIN)/djlint --lint --quiet src/hangtab/web/templates

format: dev ## let ruff set the code
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

bench: dev $(WORLD)/.fitted ## measure what is promised to be fast
	$(BIN)/python tools/bench.py $(BOOK)
	$(BIN)/python -m tools.bench_engine $(BOOK)

backtest: dev .venv/.backtest $(WORLD)/.taken-in ## try the estimates on the demo and on open tables, beside simpler ways
	$(BIN)/python tools/backtest.py $(BOOK)

screenshots: dev $(WORLD)/.fitted ## make the pictures in docs/images from the demo
	@tools/need-chromium
	$(BIN)/python tools/screenshots.py $(BOOK)

pins: ## resolve requirements/*.txt anew; do it with the oldest Python to be served (PYTHON=...)
	@PYTHON="$(PYTHON)" tools/make-venv .venv-pins
	.venv-pins/bin/python -m pip install --quiet --editable '.[dev]'
	.venv-pins/bin/python tools/pin.py
	@rm -rf .venv-pins

clean: ## remove the environment and the demo world
	rm -rf .venv $(WORLD)
