#!/usr/bin/env bash
# Drives a real editor against the server and the tree-sitter parser: run.sh path/to/cutwater path/to/parser.so
#
# Needs Neovim 0.7 or later as `nvim`, or as $NVIM. Fails when it is missing: a check that is skipped is no check.
# `cargo run -p cutwater-grammars --example tree_sitter -- --library parser.so` makes the parser.
set -euo pipefail

here="$(cd "$(dirname "$0")" && pwd)"
if [ $# -ne 2 ] || [ ! -x "$1" ] || [ ! -f "$2" ]; then
    echo "usage: $0 path/to/cutwater path/to/parser.so" >&2
    exit 2
fi
CUTWATER="$(cd "$(dirname "$1")" && pwd)/$(basename "$1")"
CUTWATER_PARSER="$(cd "$(dirname "$2")" && pwd)/$(basename "$2")"
CUTWATER_ROOT="$(cd "$here/../.." && pwd)"
nvim="${NVIM:-nvim}"
if ! command -v "$nvim" >/dev/null; then
    echo "Neovim is not installed (looked for \`$nvim\`); install it or set NVIM" >&2
    exit 1
fi

work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
export CUTWATER CUTWATER_PARSER CUTWATER_ROOT CUTWATER_WORK="$work"
export XDG_CACHE_HOME="$work/cache" XDG_STATE_HOME="$work/state" XDG_DATA_HOME="$work/data"
for script in neovim tree_sitter; do
    status=0
    timeout 120 "$nvim" -u NONE -i NONE -n --headless -c "luafile $here/$script.lua" 2>"$work/said" || status=$?
    cat "$work/said"
    echo
    # An editor that stops without a word has not passed.
    if [ "$status" -ne 0 ] || ! grep -q "neovim: all is well" "$work/said"; then
        echo "the editor test $script failed (status $status)" >&2
        exit 1
    fi
done
