#!/usr/bin/env bash
# Fuzzes every parser, one target after the other.
#
# usage: bash tests/fuzz/run.sh [SECONDS FOR EACH TARGET] [TARGET...]
# needs: cargo-fuzz (`cargo install cargo-fuzz`). The sanitisers are unstable features of rustc;
# RUSTC_BOOTSTRAP=1 lets the stable compiler have them.
#
# Begins with what testdata/readers and testdata/fuzz hold. What it learns is kept in
# tests/fuzz/corpus, what it finds in tests/fuzz/artifacts; neither is checked in. A finding
# goes to testdata/fuzz/TARGET once it is mended, and tests/fuzz_findings.rs keeps it so.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.." || exit 1
export RUSTC_BOOTSTRAP=1
seconds=${1:-60}
shift || true
targets=("$@")
if [ "${#targets[@]}" -eq 0 ]; then
    targets=(scan colour_profile session wedge_list calibration profile exposure_words recipe baths)
fi
failed=0
for target in "${targets[@]}"; do
    seeds=("testdata/fuzz/$target")
    case $target in
    scan) seeds+=(testdata/readers/sound testdata/readers/broken) ;;
    colour_profile) seeds+=(testdata/readers/profiles) ;;
    esac
    mkdir -p "tests/fuzz/corpus/$target" "testdata/fuzz/$target"
    echo "== $target"
    cargo fuzz run --fuzz-dir tests/fuzz "$target" "tests/fuzz/corpus/$target" "${seeds[@]}" -- \
        -max_total_time="$seconds" -timeout=10 -rss_limit_mb=1024 -malloc_limit_mb=256 \
        -max_len=40000 -print_final_stats=1 2>&1 | grep -E '^(==|stat::|SUMMARY|Done|thread|panicked|.*artifact)|panicked|ERROR' || true
    [ "${PIPESTATUS[0]}" -eq 0 ] || failed=1
done
exit $failed
