# Damperbook. The first two commands are all that most people need; `make help` lists the rest.
PYTHON ?= python3
bootstrap = @$(PYTHON) -I shop/bootstrap.py

.PHONY: demo test lint bench lock help
.DEFAULT_GOAL := help

demo: ## Run the demo shop on this machine (another port: make demo PORT=8001)
	$(bootstrap) demo

test: ## Run every test (some of them: make test ARGS="tests/test_bootstrap.py -k port")
	$(bootstrap) test $(ARGS)

lint: ## Check style, templates, the order of packages, migrations and production settings
	$(bootstrap) lint

bench: ## Measure the speeds that are promised
	$(bootstrap) bench $(ARGS)

lock: ## Write requirements.txt and requirements-dev.txt anew from pyproject.toml
	$(bootstrap) lock

help: ## List these commands
	@sed -n 's/^\([a-z]*\): ## \(.*\)/  make \1\t\2/p' Makefile | expand -t 16
