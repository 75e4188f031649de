# One word for each task; they run what stands in .venv (made by `make set-up`).
.PHONY: set-up demo quick test browser check format figures
# What the tests are compiled to is kept: without it every worker compiles each file anew.
unexport PYTHONDONTWRITEBYTECODE

set-up: ## the environment with everything for tests
	python3 -m venv .venv && .venv/bin/pip install -c requirements.lock -e '.[test]'

demo: ## the invented fleet, served on http://127.0.0.1:8000
	.venv/bin/python manage.py demo

quick: ## the everyday tests, about a minute: numbers, rules, docs, one path through the pages
	.venv/bin/pytest -n 2 --dist loadfile -q -m everyday

test: ## all tests on SQLite
	.venv/bin/pytest -n 2 --dist loadfile -q

browser: ## what is driven through Chromium
	.venv/bin/pytest -q -m browser

check: ## everything a change must pass, on both databases
	.ci/run

format: ## let the formatter decide
	.venv/bin/ruff check --fix . && .venv/bin/ruff format .
	.venv/bin/djangofmt -q fleet/templates inspections/templates dashboards/templates

figures: ## how the tables of docs/benchmarks.md are printed
	@grep -ho 'python -m tests.bench.[a-z_]*[^`|]*' docs/benchmarks.md | sort -u
