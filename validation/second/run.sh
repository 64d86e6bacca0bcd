#!/bin/sh
# Hangs all rigs of testdata/ in the reference programs and writes the results
# there. "run.sh --check" compares with the stored results instead. Rig names
# as arguments limit it to those.
#
# Needs Debian's calculix-ccx, python3-scipy and python3-yaml, and node and npm.
set -eu
cd "$(dirname "$0")"
for tool in ccx node npm; do
	command -v "$tool" >/dev/null || { echo "run.sh: $tool is missing" >&2; exit 3; }
done
python=/usr/bin/python3 # Debian's own, which sees Debian's packages
"$python" -c 'import scipy, yaml' || exit 3
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cp package.json package-lock.json "$work"
(cd "$work" && npm ci --silent --no-audit --no-fund)
OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 "$python" -B second.py --npm "$work" "$@"
