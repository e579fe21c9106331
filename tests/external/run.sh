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

# Some checks run ignored tests of the crate; their build isn't part of any check's time.
cargo test --quiet --no-run --no-default-features --lib --test suite

# The checks. No checks of their own: analysis_cache.py makes the note tables that analysis_figures.py reads (and calls
# it); analysis_fit_*.py fit the weights anew; midi_fixtures.py writes fixtures/midi; concert_bench.py is a benchmark, and a time is no gate on a shared machine; pack.sh needs a browser and is run by hand; _figures.py is shared code.
checks=(
    import_corpus.py
    midi_figures.py
    analysis_figures.py
    fit_table.py
    arrange_table.py
    export_roundtrip.py
    export_validate.py
    concert_kill.py
)
# A quick check that takes longer than this hangs, even where it makes its tunes first; full runs take as long as they need.
limit=0
for argument in "$@"; do
    [ "$argument" = --quick ] && limit=900
done

failed=()
for check in "${checks[@]}"; do
    printf '\n-- %s %s\n' "$check" "$*"
    began=$SECONDS
    timeout "$limit" "$cache/venv/bin/python" "tests/external/$check" "$@" || failed+=("$check")
    printf -- '-- %s: %d s\n' "$check" $((SECONDS - began))
done

if [ ${#failed[@]} -gt 0 ]; then
    printf '\nexternal checks that failed: %s\n' "${failed[*]}"
    exit 1
fi
printf '\nall external checks passed\n'
