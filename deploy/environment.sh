# Common to deploy/demo and deploy/test: finds Python, makes .venv, installs on Debian. Sourced, with HOME_FOLDER set.

say() { printf '%s\n' "$*"; }

stop() {
    printf '%s\n' "$*" >&2
    exit 1
}

can_install() { [ "$(id -u)" = 0 ] && [ -e /etc/debian_version ] && command -v apt-get >/dev/null; }

# install_packages REASON PACKAGE…: with apt-get on Debian as root, quietly; elsewhere says what is missing.
install_packages() {
    reason=$1
    shift
    if ! can_install; then
        say "Missing: $reason. On Debian: apt-get install $*"
        return 1
    fi
    say "Installing $* ($reason) ..."
    log=$(mktemp)
    if { [ -n "${PACKAGE_LISTS_ARE_NEW-}" ] || apt-get update -q >"$log" 2>&1; } &&
        DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends "$@" >>"$log" 2>&1; then
        PACKAGE_LISTS_ARE_NEW=yes
        rm "$log"
        return 0
    fi
    tail -n 20 "$log" >&2
    rm "$log"
    say "apt-get could not install $*."
    return 1
}

is_new_enough() {
    "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null
}

# Prints the first Python of 3.11 or newer; a name on PATH can be a stub that does not run, so each is tried.
find_python() {
    for python in ${PYTHON:+"$PYTHON"} python3.13 python3.12 python3.11 python3 python; do
        if is_new_enough "$python"; then
            printf '%s\n' "$python"
            return 0
        fi
    done
    return 1
}

need_python() {
    BASE_PYTHON=$(find_python) && return 0
    install_packages "Python 3.11 or newer" python3 python3-venv || true
    BASE_PYTHON=$(find_python) || stop "Wrapledger needs Python 3.11 or newer. If it is installed elsewhere, name it: PYTHON=/path/to/python3 sh $0"
}

need_venv_module() {
    "$BASE_PYTHON" -c 'import ensurepip, venv' 2>/dev/null && return 0
    version=$("$BASE_PYTHON" -c 'import sys; print("python%d.%d" % sys.version_info[:2])')
    install_packages "Python's venv module" "$version-venv" || stop "$BASE_PYTHON cannot make an environment without it."
}

# What a lock's environment was made from; a moved folder counts as another one, for its scripts would not start.
mark_of() { printf '%s %s' "$HOME_FOLDER" "$(cksum <"$HOME_FOLDER/deploy/$1.lock")"; }

is_made() {
    [ "$(cat "$ENVIRONMENT/.made-from-$1" 2>/dev/null)" = "$(mark_of "$1")" ] && is_new_enough "$ENVIRONMENT/bin/python"
}

# need_environment runtime|development: .venv from that lock, hashes checked; made again only when the lock changed.
# development holds all of runtime, so it is put on top of it, and serves both.
need_environment() {
    ENVIRONMENT=$HOME_FOLDER/.venv
    is_made "$1" && return 0
    need_python
    need_venv_module
    if ! { [ "$1" = development ] && is_made runtime && [ ! -e "$ENVIRONMENT/.made-from-development" ]; }; then
        say "Making the environment .venv with $BASE_PYTHON ..."
        rm -rf "$ENVIRONMENT"
        "$BASE_PYTHON" -m venv "$ENVIRONMENT" || stop "That did not work."
    fi
    say "Installing what deploy/$1.lock names (about a minute) ..."
    "$ENVIRONMENT/bin/python" -m pip install --quiet --disable-pip-version-check --require-hashes \
        -r "$HOME_FOLDER/deploy/$1.lock" 2>"$ENVIRONMENT/pip.log" || {
        tail -n 20 "$ENVIRONMENT/pip.log" >&2
        stop "pip could not install it. It needs a way to the package index; run this again when there is one."
    }
    mark_of runtime >"$ENVIRONMENT/.made-from-runtime"
    [ "$1" = runtime ] || mark_of "$1" >"$ENVIRONMENT/.made-from-$1"
}
