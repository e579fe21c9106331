#!/usr/bin/env bash
# Runs every external check. With --quick, a fixed subset of each that ends within minutes (what CI
# runs); without it, the full measurements that DEVELOPERS.md quotes.
set -euo pipefail
cd "$(dirname "$0")/../.."

cache="${BARWRIGHT_CACHE:-${XDG_CACHE_HOME:-$HOME/.cache}/barwright}"
mkdir -p "$cache"
export BARWRIGHT_CACHE="$cache"
export BARWRIGHT="${BARWRIGHT:-target/release/barwright}"

# The Python environment is made once and made again when the requirements change.
wanted=$(sha256sum tests/external/requirements.txt | cut -d' ' -f1)
if [ ! -x "$cache/venv/bin/python" ] || [ "$(cat "$cache/venv/requirements.sha256" 2>/dev/null)" != "$wanted" ]; then
    python3 -m venv "$cache/venv"
    "$cache/venv/bin/pip" install --quiet --disable-pip-version-check -r tests/external/requirements.txt
    echo "$wanted" > "$cache/venv/requirements.sha256"
fi

failed=()
for check in tests/external/*.py tests/external/*.sh; do
    case "$(basename "$check")" in run.sh | _*) continue ;; esac
    printf '\n-- %s %s\n' "$check" "$*"
    case "$check" in
        *.py) runner=("$cache/venv/bin/python") ;;
        *) runner=(bash) ;;
    esac
    "${runner[@]}" "$check" "$@" || failed+=("$check")
done

if [ ${#failed[@]} -gt 0 ]; then
    printf '\nexternal checks that failed: %s\n' "${failed[*]}"
    exit 1
fi
printf '\nall external checks passed\n'
