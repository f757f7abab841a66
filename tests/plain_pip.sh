#!/usr/bin/env bash
# A plain `pip install` into a fresh environment must end in a set that works.
# PYTHON chooses the interpreter: 3.12 where there is one, so that both versions are tried.
set -euo pipefail
cd "$(dirname "$0")/.."
newest=python3
for other in python3.12 "$HOME"/.pyenv/versions/3.12.*/bin/python; do
  if "$other" -c '' 2>/dev/null; then newest=$other; fi
done
python=${PYTHON:-$newest}
place=$(mktemp -d)
trap 'rm -rf "$place"' EXIT
"$python" -m venv "$place/env"
"$place/env/bin/pip" install --quiet .
cd "$place" # away from the sources: only what was installed may be found
"$place/env/bin/python" -c 'import importlib.metadata as m, sys
print(sys.version.split()[0], *(f"{n} {m.version(n)}" for n in ("numpy", "pandas", "pyarrow", "opencv-contrib-python")))'
"$place/env/bin/spoken-findings" check
"$place/env/bin/spoken-findings" demo --out "$place/findings" | tail -n 3
test "$(grep -c ",logged," "$place/findings/session/findings.csv")" -ge 7
echo "a plain pip install works"
