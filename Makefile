# make run, make test: both build the environment by themselves; a second run starts in seconds.
.PHONY: run test check format bench mutants chaos journeys sentences messages env clean

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
	$(BIN)/python manage.py set_up $(if $(filter 0,$(DEMO)),--in-browser,--demo)
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

# Both measure: one thread each, so that neither the library nor a neighbour decides.
ONE_THREAD := OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 MKL_NUM_THREADS=1

bench: env
	$(ONE_THREAD) $(BIN)/python -m tests.benchmarks.run $(ARGS)

mutants: env
	$(ONE_THREAD) $(BIN)/python -m tests.mutants.run $(ARGS)

# Kills, stops and doubles the service's processes for some minutes; a short form of it is among the tests.
chaos: env
	FLEET_TEST_CHAOS=full FLEET_REQUIRE_ALL=1 $(BIN)/pytest tests/chaos -v -s $(ARGS)

# The long ones whole, of which the tests have a fixed sample: every service on PostgreSQL.
journeys: env
	FLEET_TEST_JOURNEYS=full FLEET_REQUIRE_ALL=1 $(BIN)/pytest tests/served tests/journeys $(ARGS)

# A catalogue for translators: the sentences of the tables beside those of code and templates (needs gettext).
messages: env
	mkdir -p fleet/locale
	DJANGO_SETTINGS_MODULE=fleet.settings $(BIN)/python -c 'import django; django.setup(); from fleet.presentation.sentences import all_texts; \
		print(*(f"_({each!r})" for each in all_texts()), sep="\n")' > fleet/sentences_of_tables.py
	cd fleet && ../$(BIN)/django-admin makemessages -l $(or $(LANGUAGE),fr) --no-location; rm -f sentences_of_tables.py

# What the service says of its demonstration, held against what it said when a person last read it.
sentences: env
	mkdir -p var
	$(BIN)/python -m tests.sentences.take var/said.txt
	diff -u tests/sentences/said.txt var/said.txt

clean:
	rm -rf $(VENV)
