#!/usr/bin/env bash
# The pack in a real browser: see tests/external/pack.mjs. Needs a Chromium-family browser, node, npm
# and pdftotext (Debian: chromium nodejs npm poppler-utils). playwright-core and axe-core come from npm
# into $BARWRIGHT_CACHE/pack-npm. --quick: one song; without it, every demo song.
set -euo pipefail
cd "$(dirname "$0")/../.."
cache="${BARWRIGHT_CACHE:-${XDG_CACHE_HOME:-$HOME/.cache}/barwright}"
export BARWRIGHT="${BARWRIGHT:-target/release/barwright}"
for tool in chromium node npm pdftotext; do
    command -v "$tool" > /dev/null || { echo "pack: $tool is not installed"; exit 1; }
done
mkdir -p "$cache/pack-npm"
npm install --prefix "$cache/pack-npm" --silent --no-audit --no-fund playwright-core@1.65.1 axe-core@4.14.1
PACK_MODULES="$cache/pack-npm/node_modules" exec node tests/external/pack.mjs "$@"
