# Sourced by deploy/run and deploy/test: makes .venv in the checkout from a lock file.
# make_environment LOCKFILE NAME   (NAME marks what the environment was last made for)

set -euo pipefail

say() { printf '%s\n' "$*"; }

fail() { printf '\n%s\n' "$*" >&2; exit 1; }

find_python() {
    local name
    for name in "${SLOWCORNER_PYTHON:-}" python3 python3.13 python3.12 python3.11; do
        [ -n "$name" ] || continue
        command -v "$name" >/dev/null 2>&1 || continue
        if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            printf '%s' "$name"
            return 0
        fi
    done
    return 1
}

make_environment() {
    local lock=$1 name=$2 python stamp want have log
    stamp=.venv/made-from
    want="$name $(cat pyproject.toml deploy/requirements.lock "$lock" | cksum | tr -d '\n') $PWD"
    have=$(cat "$stamp" 2>/dev/null || true)
    if [ "$have" = "$want" ] && [ -x .venv/bin/python ]; then
        return 0
    fi
    # The test environment holds all that a run needs, so it is not torn down for one.
    if [ "$name" = run ] && [ "$have" = "test ${want#run }" ] && [ -x .venv/bin/python ]; then
        return 0
    fi
    python=$(find_python) || fail "Slowcorner needs Python 3.11 or later, and found none.
On Debian or Raspberry Pi OS:  sudo apt install python3 python3-venv
Then run this command again."
    if [ ! -x .venv/bin/python ] || ! .venv/bin/python -m pip --version >/dev/null 2>&1; then
        say "Making an environment of its own in .venv ($("$python" --version)) ..."
        rm -rf .venv
        if ! "$python" -m venv .venv >/dev/null 2>.venv-error; then
            cat .venv-error >&2
            rm -rf .venv .venv-error
            fail "Python could not make a virtual environment: its venv part is missing.
On Debian or Raspberry Pi OS:  sudo apt install python3-venv
Then run this command again. Nothing was left behind."
        fi
        rm -f .venv-error
    fi
    say "Installing the parts listed in $lock, each checked by its hash."
    say "The first time takes a few minutes; later starts skip this."
    log=.venv/install.log
    # Some parts come as source: their build tools are in the lock too and go in first.
    build_tools_only deploy/requirements.lock >.venv/build-tools.lock
    install "$log" -r .venv/build-tools.lock
    install "$log" -r "$lock"
    .venv/bin/python -m pip install --disable-pip-version-check --quiet --no-deps --no-build-isolation -e . >>"$log" 2>&1 \
        || { tail -20 "$log" >&2; fail "Installing the project itself failed; the whole log is $log."; }
    say "Compiling the drying model: half a minute, a few on a small board."
    .venv/bin/python -m server.drying.compile_kernel >>"$log" 2>&1 || say "That failed (see $log): it is tried again when it is needed."
    printf '%s' "$want" >"$stamp"
    say "Installed."
}

# The lock's entries for what builds the parts that come as source, with their hashes.
build_tools_only() {
    awk '/^[A-Za-z0-9]/ { keep = ($0 ~ /^(setuptools|wheel|packaging)==/) } keep' "$1"
}

install() {
    local log=$1
    shift
    # One line a part, so that a slow board is seen to be working.
    if ! .venv/bin/python -m pip install --disable-pip-version-check --require-hashes --no-deps --no-build-isolation "$@" 2>&1 \
        | tee -a "$log" | sed -un 's/^Collecting \([^ ;]*\).*/  \1/p'; then
        tail -20 "$log" >&2
        fail "Installing failed; the whole log is $log. Is this machine connected?
Run the same command again: it goes on from what is already there."
    fi
}
