#!/usr/bin/env bash
# Sets up what is missing, then checks everything and runs the tests on SQLite and on PostgreSQL.
#
# Needs Python 3.11 or later. Debian's packages for the virtual environment, the PostgreSQL server, gettext
# and Chromium are installed if they are not there. Nothing outside .venv and a temporary folder is written;
# the PostgreSQL cluster is a throw-away one.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

say() { printf '\n== %s\n' "$*"; }

stop() {
    printf '%s\n' "$*" >&2
    exit 1
}

apt_updated=
apt_install() {
    local as_root=()
    command -v apt-get >/dev/null || stop "Missing: $*. There is no apt-get here: install them by hand, then run again."
    if [ "$(id -u)" != 0 ]; then
        command -v sudo >/dev/null || stop "Missing: $*. Run as root 'apt-get install $*', then run again."
        as_root=(sudo)
    fi
    say "installing $*"
    if [ -z "$apt_updated" ]; then
        "${as_root[@]}" apt-get update -qq
        apt_updated=yes
    fi
    "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >/dev/null
}

find_python() {
    local name
    for name in python3.11 python3 python3.12 python3.13; do
        if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$name"
            return
        fi
    done
    stop "Python 3.11 or later is needed and was not found on the PATH: install it, then run again."
}

set_up_python() {
    local stamp
    if ! .venv/bin/python -m pip --version >/dev/null 2>&1; then
        local python
        python=$(find_python)
        rm -rf .venv
        if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
            apt_install "$("$python" -c 'import sys; print("python3.%d-venv" % sys.version_info[1])')"
        fi
        say "creating .venv with $("$python" --version)"
        "$python" -m venv .venv
    fi
    stamp=.venv/installed-$(sha256sum pyproject.toml | cut -c1-16)
    if [ ! -e "$stamp" ]; then
        say "installing the library and its test tools into .venv"
        .venv/bin/python -m pip install --quiet --disable-pip-version-check -e '.[test]'
        touch "$stamp"
    fi
}

postgres_programs() {
    local found
    found=$(find /usr/lib/postgresql/*/bin -maxdepth 0 2>/dev/null | sort -V | tail -n 1)
    if [ -n "$found" ] && [ -x "$found/initdb" ]; then
        echo "$found"
    elif command -v pg_config >/dev/null && [ -x "$(pg_config --bindir)/initdb" ]; then
        pg_config --bindir
    fi
}

# PostgreSQL refuses to run as root; Debian's package brings the user that it runs as there.
as_postgres() {
    if [ "$(id -u)" != 0 ]; then
        "$@"
    elif command -v runuser >/dev/null; then
        runuser -u postgres -- "$@"
    else
        su postgres -s /bin/sh -c 'exec "$0" "$@"' -- "$@"
    fi
}

start_postgres() {
    say "starting a throw-away PostgreSQL"
    mkdir "$work/pg"
    chmod 711 "$work"
    [ "$(id -u)" != 0 ] || chown postgres "$work/pg"
    port=$(.venv/bin/python -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
    # From a folder that the postgres user may be in.
    (
        cd "$work/pg" &&
        as_postgres "$pg/initdb" -D "$work/pg/data" -U library -A trust -E UTF8 --locale=C.UTF-8 >/dev/null &&
        as_postgres "$pg/pg_ctl" -D "$work/pg/data" -l "$work/pg/log" -w -t 60 -s start \
            -o "-p $port -k $work/pg -c listen_addresses=127.0.0.1 -c fsync=off -c full_page_writes=off"
    ) || stop "PostgreSQL did not start: $(cat "$work/pg/log" 2>/dev/null)"
    postgres_url=postgres://library@127.0.0.1:$port/postgres
}

clean_up() {
    local ended=$?
    trap - EXIT
    if [ -d "$work/pg/data" ]; then
        (cd "$work/pg" && as_postgres "$pg/pg_ctl" -D "$work/pg/data" -m immediate -s stop) || true
    fi
    rm -rf "$work"
    exit "$ended"
}

set_up_python
pg=$(postgres_programs)
[ -n "$pg" ] || { apt_install postgresql && pg=$(postgres_programs); }
[ -n "$pg" ] || stop "The PostgreSQL server's programs (initdb, pg_ctl) were not found: install it, then run again."
missing=()
command -v chromium >/dev/null || missing+=(chromium)
command -v chromedriver >/dev/null || missing+=(chromium-driver)
command -v msgfmt >/dev/null || missing+=(gettext)
[ ${#missing[@]} = 0 ] || apt_install "${missing[@]}"

work=$(mktemp -d)
trap clean_up EXIT
trap 'exit 130' INT
trap 'exit 143' TERM
start_postgres

export PATH=$PWD/.venv/bin:$PATH
# A developer's own .env must not decide what is tested, nor style sheets that were collected before.
export DEBUG=False SECRET_KEY=tests HTTPS=False CONN_MAX_AGE=0 STATIC_ROOT=$work/static
export DATABASE_URL=sqlite:///$work/checks.sqlite3

say "ruff"
ruff check .
say "mypy"
mypy
say "imports"
lint-imports
say "manage.py check"
python manage.py check
python manage.py makemigrations --check --dry-run
say "manage.py check --deploy"
HTTPS=True SECRET_KEY=$(python -c 'import secrets; print(secrets.token_hex(32))') \
    python manage.py check --deploy --fail-level INFO
say "known weaknesses of what is installed"
audited=$(python -m tests.security.audit) || stop "$audited"
printf '%s\n' "$audited"
say "OpenAPI schema"
python manage.py spectacular --validate --fail-on-warn --file /dev/null

# One file, or one class of it, to a process, so that what they share is made once. A process that crashes ends
# the run: pytest-xdist may wait for ever for what its successor was given.
in_two="-n 2 --dist loadscope --no-loadscope-reorder --max-worker-restart 0"
say "tests on SQLite"
pytest -q $in_two
say "tests on PostgreSQL"
DATABASE_URL=$postgres_url pytest -q $in_two --database-only tests/setups tests/club tests/faults tests/browser/test_sign_in.py
say "everything passed"
case $audited in
    not\ audited*) say "but what is installed was $audited" ;;
esac
