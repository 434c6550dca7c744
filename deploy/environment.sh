# Sourced by ./deploy/tour and ./tests/run: makes or reuses the checkout's virtual environment.
#
# environment EXTRAS   installs the checkout into .venv (EXTRAS: "" or "[test]") unless that was done already
#                      for this pyproject.toml, and sets $python to its interpreter.

find_python() {
  for candidate in "${PYTHON:-}" python3 python3.14 python3.13 python3.12 python3.11; do
    if [ -n "$candidate" ] && "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
      echo "$candidate"
      return
    fi
  done
  echo "Coverage Audit needs Python 3.11 or newer; none was found (set PYTHON to name one)." >&2
  return 1
}

environment() {
  base=$(find_python) || exit 69
  python="$PWD/.venv/bin/python"
  wanted="$1 $("$base" -c 'import hashlib, pathlib; print(hashlib.sha256(pathlib.Path("pyproject.toml").read_bytes()).hexdigest())')"
  if [ -x "$python" ] && [ "$(cat .venv/installed 2>/dev/null)" = "$wanted" ]; then
    return
  fi
  echo "Setting up .venv (once; this fetches the libraries) ..." >&2
  [ -x "$python" ] || "$base" -m venv .venv || {
    echo "The virtual environment could not be made; on Debian: apt-get install python3-venv" >&2
    exit 69
  }
  "$python" -m pip install --quiet --disable-pip-version-check --editable ".$1" || {
    echo "The libraries could not be installed (see above)." >&2
    exit 69
  }
  printf '%s' "$wanted" > .venv/installed
}
