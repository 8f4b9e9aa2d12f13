# make run, make test: both build the environment by themselves; a second run starts in seconds.
.PHONY: run test check format env clean

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
UV_PIN := uv==0.13.9
DEMO ?= 1
export UV_PYTHON_DOWNLOADS = never

$(VENV)/made: requirements/dev.txt
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check $(UV_PIN)
	$(BIN)/uv pip sync --quiet --python $(BIN)/python --require-hashes requirements/dev.txt
	touch $(VENV)/made

env: $(VENV)/made

run: env
	$(BIN)/python manage.py set_up $(if $(filter 0,$(DEMO)),,--demo)
	exec $(BIN)/python manage.py serve

test: env
	$(BIN)/pytest -n 2 --dist loadfile --no-loadscope-reorder $(ARGS)

check: env
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python manage.py makemigrations --check --dry-run
	.ci/check-deploy

format: env
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

clean:
	rm -rf $(VENV)
