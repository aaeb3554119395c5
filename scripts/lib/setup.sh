# Shared by the commands in scripts/: finds Python, makes .venv, installs a lock. To be sourced.
#
# A stamp in .venv records the lock, pyproject.toml, this folder and the interpreter. As long as
# it still fits, set-up is over in a few hundredths of a second and touches no network.

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd -P)
venv=$root/.venv

say() { printf '%s\n' "$*" >&2; }
fail() { say "kerfwright: $*"; exit 4; }

is_recent() { "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; }

find_python() {
  local name
  for name in python3 python3.14 python3.13 python3.12 python3.11; do
    if is_recent "$name"; then command -v "$name"; return 0; fi
  done
  return 1
}

can_install() { [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; }

install_packages() {
  say "Installing $* with apt-get ..."
  {
    DEBIAN_FRONTEND=noninteractive apt-get update -qq &&
      DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@"
  } >/dev/null </dev/null || fail "apt-get could not install $*; install it by hand and try again."
}

need_python() {
  python=$(find_python) && return 0
  can_install || fail "Python 3.11 or newer is missing; on Debian run 'sudo apt-get install python3 python3-venv' and try again."
  install_packages python3 python3-venv
  python=$(find_python) ||
    fail "this system's newest Python is older than 3.11; install Python 3.11 or newer and try again."
}

# Debian ships venv without ensurepip, which lies in a package of its own.
need_venv_module() {
  "$python" -c 'import ensurepip, venv' >/dev/null 2>&1 && return 0
  local package
  package=$("$python" -c 'import sys; print("python%d.%d-venv" % sys.version_info[:2])')
  can_install || fail "this Python cannot make virtual environments; on Debian run 'sudo apt-get install $package' and try again."
  install_packages "$package"
  "$python" -c 'import ensurepip, venv' >/dev/null 2>&1 ||
    fail "$python still cannot make virtual environments; use another Python 3.11 or newer."
}

# What the environment must have been made from, in one line.
wanted_stamp() {
  local sum
  sum=$(cat "$root/requirements/$1.txt" "$root/pyproject.toml" | sha256sum) || return 1
  printf '%s %s %s' "${sum%% *}" "$root" "$2"
}

has_stamp() {
  local version
  [ -f "$venv/stamp-$1" ] || return 1
  version=$("$venv/bin/python" -c 'import sys; print(sys.version.split()[0])' 2>/dev/null) || return 1
  [ "$(cat "$venv/stamp-$1")" = "$(wanted_stamp "$1" "$version")" ]
}

make_venv() {
  local option=()
  # One that was copied from elsewhere or lost its interpreter is made anew.
  if [ -e "$venv" ]; then
    if [ "$("$venv/bin/python" -c 'import sys; print(sys.prefix)' 2>/dev/null)" = "$venv" ] &&
      "$venv/bin/python" -m pip --version >/dev/null 2>&1; then
      return 0
    fi
    option=(--clear)
  fi
  need_python
  need_venv_module
  say "Making a virtual environment with $python ..."
  "$python" -m venv "${option[@]}" "$venv" || fail "cannot make $venv; is there room on the disk?"
}

# set_up run|dev: the locked packages and the project itself. The dev lock holds the run lock.
set_up() {
  has_stamp "$1" && return 0
  local pip version
  make_venv
  pip=("$venv/bin/python" -m pip --disable-pip-version-check --no-input --quiet)
  rm -f "$venv"/stamp-*
  say "Installing the locked packages of requirements/$1.txt (about a minute the first time) ..."
  "${pip[@]}" install --require-hashes --no-deps --requirement "$root/requirements/$1.txt" </dev/null ||
    fail "the packages of requirements/$1.txt could not be installed; see pip's words above."
  "${pip[@]}" install --no-deps --no-build-isolation --no-index --editable "$root" </dev/null ||
    fail "the project could not be installed; see pip's words above."
  "${pip[@]}" check >&2 || fail "the installed packages contradict each other; see pip's words above."
  version=$("$venv/bin/python" -c 'import sys; print(sys.version.split()[0])')
  wanted_stamp "$1" "$version" >"$venv/stamp-$1"
  [ "$1" = run ] || wanted_stamp run "$version" >"$venv/stamp-run"
}
