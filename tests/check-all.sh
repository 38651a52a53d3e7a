#!/usr/bin/env bash
# Installs what a bare Debian lacks, then runs every check. Needs cargo; asks for nothing.
#
# Exits 0 only when all of it holds. The last line is "N passed, N failed": every test counts
# one, and so does every check that is not a test.
set -uo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.." || exit 1
export CARGO_TERM_COLOR=never CARGO_INCREMENTAL=0

passed=0
failed=0
summary=()
started=$SECONDS
logs=$(mktemp -d)
trap 'rm -rf "$logs"' EXIT

# rustc calls `cc` to link; a bare Debian has none. Everything else is Rust.
if ! command -v cc >/dev/null; then
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
        apt-get update -qq
        DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends gcc libc6-dev
    else
        echo "no C linker: install gcc and libc6-dev, or run this as root once" >&2
    fi
fi
for tool in rustfmt clippy; do
    if ! cargo "${tool/rustfmt/fmt}" --version >/dev/null 2>&1 && command -v rustup >/dev/null; then
        rustup component add "$tool"
    fi
done

# check NAME COMMAND...: runs one check that is not a test.
check() {
    local name=$1 since=$SECONDS
    shift
    echo "== $name"
    if "$@"; then
        passed=$((passed + 1))
        summary+=("ok      $name ($((SECONDS - since)) s)")
    else
        failed=$((failed + 1))
        summary+=("FAILED  $name ($((SECONDS - since)) s)")
    fi
}

# tests NAME COMMAND...: runs tests and adds up the runner's closing lines.
tests() {
    local name=$1 since=$SECONDS log="$logs/tests" code ok bad
    shift
    echo "== $name"
    "$@" 2>&1 | tee "$log"
    code=${PIPESTATUS[0]}
    # "test result: ok. 12 passed; 0 failed; ..."
    read -r ok bad < <(awk '/^test result:/ { ok += $4; bad += $6 } END { print ok + 0, bad + 0 }' "$log")
    # A build error or a crash of the runner fails no single test.
    if [ "$code" -ne 0 ] && [ "$bad" -eq 0 ]; then bad=1; fi
    passed=$((passed + ok))
    failed=$((failed + bad))
    while read -r line; do summary+=("        $line"); done < <(grep '^test result:' "$log")
    if [ "$bad" -eq 0 ]; then
        summary+=("ok      $name: $ok passed ($((SECONDS - since)) s)")
    else
        summary+=("FAILED  $name: $ok passed, $bad failed ($((SECONDS - since)) s)")
    fi
}

# The tests in a real window need a screen and a software renderer of OpenGL.
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    missing=()
    command -v Xvfb >/dev/null || missing+=(xvfb)
    ldconfig -p | grep -q libGLX_mesa || missing+=(libgl1-mesa-dri libglx-mesa0 libegl1 libgl1)
    ldconfig -p | grep -q libxkbcommon-x11 || missing+=(libxkbcommon-x11-0 libx11-xcb1)
    # The bench sheet's page is opened by another program.
    command -v pdftotext >/dev/null || missing+=(poppler-utils)
    if [ "${#missing[@]}" -gt 0 ]; then
        apt-get update -qq
        DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}"
    fi
fi

check "format" cargo fmt --check
check "without the window" cargo check --locked --lib --no-default-features --quiet
check "lints" cargo clippy --locked --all-targets --quiet -- -D warnings
# Bans and licences are held by tests/licences.rs; known holes need an index from the network.
if command -v cargo-deny >/dev/null && cargo deny fetch >/dev/null 2>&1; then
    check "advisories" cargo deny --locked check advisories
fi
check "documentation" env RUSTDOCFLAGS="-D warnings" \
    cargo doc --locked --no-deps --document-private-items --quiet
check "release build" cargo build --locked --release --quiet
command -v pdftotext >/dev/null && export TWINSTRIP_POPPLER=1
# What people run is what the tests in a real window drive and time.
export TWINSTRIP_PROGRAM="${CARGO_TARGET_DIR:-target}/release/twinstrip"
# The rooms are kept apart by tests/layering.rs and the bans in .clippy.toml.
tests "tests" cargo test --locked --lib --bins --tests --no-fail-fast
tests "documentation tests" cargo test --locked --doc --no-fail-fast

echo
printf '%s\n' "${summary[@]}"
echo "all checks: $((SECONDS - started)) s"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
