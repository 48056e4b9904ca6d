#!/usr/bin/env bash
# Renew the locks from pyproject.toml (needs uv). They hold names, versions and hashes, no address.
set -euo pipefail
cd "$(dirname "$0")/.."
common=(--universal --generate-hashes --no-header --no-annotate --quiet)
build=$(mktemp)
printf 'hatchling>=1.27\neditables>=0.5\n' > "$build"
uv pip compile "${common[@]}" --python-version 3.11 pyproject.toml "$build" -o .constraints/run.txt
uv pip compile "${common[@]}" --python-version 3.11 --extra test --extra dev pyproject.toml "$build" -o .constraints/test.txt
uv pip compile "${common[@]}" --python-version 3.11 --resolution lowest-direct --extra test pyproject.toml "$build" -o .constraints/oldest.txt
rm "$build"
