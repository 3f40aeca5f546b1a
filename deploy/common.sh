# Read by the scripts beside it (". deploy/common.sh"), never run by itself. POSIX sh, Linux and macOS.
#
# Everything is made inside the checkout: .venv for the packages, var/ for data, mail, logs, the package cache and
# temporary files. The machine's own Python is asked to make the virtual environment and is otherwise left alone.

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P) || exit 1
cd "$root" || exit 1
umask 077
mkdir -p var/tmp var/log var/mail var/static
python="$root/.venv/bin/python"

# Settings of the caller's shell that would lead Python or pip out of the checkout.
unset PYTHONPATH PYTHONHOME PIP_TARGET PIP_PREFIX PIP_REQUIREMENT PIP_CONSTRAINT PIP_LOG
TMPDIR="$root/var/tmp"
PYTHONNOUSERSITE=1
PIP_USER=0
PIP_NO_INPUT=1
PIP_DISABLE_PIP_VERSION_CHECK=1
# A cache that the caller names is used; else the cache stays in the checkout too, and a second install is a warm one.
PIP_CACHE_DIR=${PIP_CACHE_DIR:-$root/var/cache/pip}
export TMPDIR PYTHONNOUSERSITE PIP_USER PIP_NO_INPUT PIP_DISABLE_PIP_VERSION_CHECK PIP_CACHE_DIR
# pip asks rustc for its version, and a rustup without a home of its own would make one.
if [ -z "${RUSTUP_HOME:-}" ] && [ ! -d "${HOME:-}/.rustup" ]; then
    RUSTUP_HOME="$root/var/tmp/rustup"
    export RUSTUP_HOME
fi

stop() {
    printf '%s\n' "$@" >&2
    exit 1
}

# Sets $base_python to a Python that fits; SHEENWARD_PYTHON names one by hand.
find_python() {
    base_python=
    for candidate in ${SHEENWARD_PYTHON:+"$SHEENWARD_PYTHON"} python3 python3.13 python3.12 python3.11; do
        if "$candidate" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' 2>/dev/null; then
            base_python=$candidate
            break
        fi
    done
    if [ -z "$base_python" ]; then
        found=$(python3 --version 2>&1) || found="no python3 at all"
        stop "Sheenward needs Python 3.11, 3.12 or 3.13; found here: $found." \
            "Install one of them, or name one: SHEENWARD_PYTHON=/path/to/python3.12 sh deploy/${0##*/}"
    fi
    "$base_python" -c 'import venv, ensurepip' 2>/dev/null || stop \
        "$base_python cannot make virtual environments: its venv or ensurepip module is missing." \
        "On Debian and Ubuntu it comes with the package python3-venv; then run this again."
}

# prepare NAME...: .venv holds what deploy/NAME.txt locks. A copy of each installed lock is the stamp; a run that
# finds its stamp unchanged installs nothing. The first NAME is installed; it includes the packages of the others.
prepare() {
    if cmp -s "deploy/$1.txt" ".venv/$1.txt" && "$python" -c '' 2>/dev/null; then
        return 0
    fi
    if ! "$python" -m pip --version >/dev/null 2>&1; then
        find_python
        echo "Making .venv with $("$base_python" --version) ..."
        "$base_python" -m venv --clear .venv || stop "Making .venv failed; the reason stands above."
    fi
    "$python" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' || stop \
        ".venv holds $("$python" --version), which Sheenward does not know. Move .venv away and run this again."
    echo "Installing $(grep -c '^[a-z0-9]' "deploy/$1.txt") locked packages into .venv: about a minute, more on a" \
        "slow line; details go to var/log/install.log ..."
    rm -f .venv/requirements*.txt
    if ! "$python" -m pip install --require-hashes --requirement "deploy/$1.txt" >var/log/install.log 2>&1; then
        tail -n 15 var/log/install.log >&2
        stop "" "Installing the packages of deploy/$1.txt failed; the reason stands above, all of it in" \
            "var/log/install.log. Without a connection? Run this again with one: what is installed already stays."
    fi
    for name in "$@"; do
        cp "deploy/$name.txt" ".venv/$name.txt"
    done
}
