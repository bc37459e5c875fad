#!/usr/bin/env bash
# What is checked without running the site: style, types, imports, settings, migrations, known weaknesses.
# tests/run.sh sets up what this needs, and runs it beside the tests.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

say() { printf '\n== %s\n' "$*"; }

say "ruff"
ruff check .
say "imports"
lint-imports
say "manage.py check"
python manage.py check
python manage.py makemigrations --check --dry-run
say "manage.py check --deploy"
HTTPS=True SECRET_KEY=$(python -c 'import secrets; print(secrets.token_hex(32))') \
    python manage.py check --deploy --fail-level INFO
say "mypy"
mypy
say "known weaknesses of what is installed"
python -m tests.security.audit
