#!/usr/bin/env bash
# Sets up what is missing, then checks everything and runs the tests on SQLite and on PostgreSQL.
#
# Needs bash 5.1 and Python 3.11 or later. Debian's packages for the virtual environment, the PostgreSQL server, gettext,
# Chromium and procps (pkill) are installed if they are not there. Nothing outside .venv and a temporary folder is
# written; the PostgreSQL cluster is a throw-away one.
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

# begin NAME SECONDS COMMAND...: begins a part of the run. What takes so long, several
# times what it takes on two cores, hangs and is ended. What it prints goes to $into, or is seen at once.
declare -A names limits printed
begin() {
    if [ -n "${into-}" ]; then
        setsid timeout --kill-after=30 "$2" "${@:3}" >"$into" 2>&1 &
    else
        setsid timeout --kill-after=30 "$2" "${@:3}" &
    fi
    part=$!
    names[$part]=$1 limits[$part]=$2 printed[$part]=${into-}
}

# Waits for all parts that have begun, and ends the run as soon as one went wrong.
finish() {
    local ended part
    while [ ${#limits[@]} != 0 ]; do
        ended=0
        wait -n -p part "${!limits[@]}" || ended=$?
        [ -z "${printed[$part]}" ] || cat "${printed[$part]}"
        case $ended in
            0) ;;
            124 | 137) stop "Ended: ${names[$part]} took longer than ${limits[$part]} seconds." ;;
            *) stop "Failed: ${names[$part]}." ;;
        esac
        sweep "$part"
    done
}

# Ends what a part has begun and left running, a browser or a server: all of it is in the part's session.
sweep() {
    pkill -KILL -s "$1" 2>/dev/null || true
    unset "limits[$1]"
}

clean_up() {
    local ended=$?
    trap - EXIT
    for part in "${!limits[@]}"; do
        kill "$part" 2>/dev/null && sleep 1
        sweep "$part"
    done
    if [ -d "$work/pg/data" ]; then
        (cd "$work/pg" && as_postgres "$pg/pg_ctl" -D "$work/pg/data" -m immediate -t 30 -s stop) || true
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
command -v pkill >/dev/null || missing+=(procps)
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

# One file, or one class of it, to a process, so that what they share is made once. A process that crashes ends
# the run: pytest-xdist may wait for ever for what its successor was given.
in_two=(-q -n 2 --dist loadscope --no-loadscope-reorder --max-worker-restart 0)
say "tests on SQLite, and beside them the checks, which are printed when they have ended"
begin "the tests on SQLite" 2700 pytest "${in_two[@]}"
into=$work/checks begin "the checks" 900 bash tests/checks.sh
finish
say "tests on PostgreSQL"
export DATABASE_URL=$postgres_url
begin "the tests on PostgreSQL" 1500 \
    pytest "${in_two[@]}" --database-only tests/setups tests/club tests/faults tests/browser/test_sign_in.py
finish
say "everything passed"
if grep -q "^not audited" "$work/checks"; then
    say "but what is installed was not audited: the service did not answer"
fi
