#!/usr/bin/env bash
# The one script of the project: sets up a Debian 12 machine, builds, runs the demo, tests and measures.
# Run it without arguments to see what it can do. Every subcommand does all of its own set-up and,
# run again, only what is needed.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")"

readonly demo_bench=demo-bench
readonly port=${EYELET_PORT:-8470}

packages_build=(g++ cmake ninja-build ccache pkg-config libfmt-dev libsqlite3-dev libssl-dev nlohmann-json3-dev
    libcli11-dev libopencv-dev libvips-dev libcairo2-dev libpango1.0-dev libcpp-httplib-dev fonts-dejavu-core
    ca-certificates curl)
packages_page=(nodejs npm)
packages_test=(libgtest-dev libgmock-dev librapidcheck-dev chromium poppler-utils)
packages_benchmark=(libbenchmark-dev)

say() { printf '\033[1m%s\033[0m\n' "$*" >&2; }
fail() { printf 'eyelet.sh: %s\n' "$*" >&2; exit 1; }

usage() {
    cat <<'TEXT'
usage: ./eyelet.sh COMMAND

  demo          build, play the demo job end to end, leave its report and serve the page
  test          build and run every test, those of the page in a browser included
  stop          stop the page that demo left running

  build         build the command and the page (build/release/eyelet)
  sanitized     run the tests of the engines under the address and undefined-behaviour sanitizers
  kill          kill import and ring-out 200 times at random moments and look at what is left
  corpus [DIR]  run import, align, follow and ring-out over the boards in DIR (../shared)
  benchmark     time the engines against references, ratios printed
  fuzz [SECS]   fuzz every parser for SECS seconds each (60)
  format        format the sources; format --check only looks
TEXT
}

# need PACKAGE...: install what is missing, or say what to ask for.
need() {
    local missing=() name
    for name in "$@"; do
        case $name in  # a newer Node.js from elsewhere will do as well
            nodejs) command -v node >/dev/null && continue ;;
            npm) command -v npm >/dev/null && continue ;;
        esac
        dpkg-query -W -f='${db:Status-Status}' "$name" 2>/dev/null | grep -qx installed || missing+=("$name")
    done
    ((${#missing[@]})) || return 0
    if ((EUID != 0)); then
        fail "these Debian packages are missing; ask for them and run this again: ${missing[*]}"
    fi
    say "Installing ${#missing[@]} packages: ${missing[*]}"
    export DEBIAN_FRONTEND=noninteractive
    apt-get update -qq
    apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
}

build_page() {
    local stamp=web/node_modules/.eyelet-lock
    if ! cmp -s web/package-lock.json "$stamp"; then
        say "Fetching what the page is built with"
        (cd web && npm ci --no-audit --no-fund --loglevel=error)
        cp web/package-lock.json "$stamp"
    fi
    if [[ ! -e web/dist/index.html ]] ||
        [[ -n $(find web/src web/public web/index.html web/package.json web/*.ts -newer web/dist/index.html 2>/dev/null | head -n 1) ]]; then
        say "Building the page"
        (cd web && npm run --silent build)
    fi
}

# build PRESET [TARGET...]
build() {
    local preset=$1
    shift
    [[ -e build/$preset/build.ninja ]] || cmake --preset "$preset" >/dev/null
    cmake --build "build/$preset" ${@:+--target "$@"}
}

build_command() {
    need "${packages_build[@]}" "${packages_page[@]}"
    build_page
    say "Building the command"
    [[ -e build/release/build.ninja ]] ||
        cmake --preset release -DEYELET_TESTS=OFF -DEYELET_BENCHMARKS=OFF >/dev/null
    cmake --build build/release --target eyelet
}

stop_page() {
    local pid_file=$demo_bench/page.pid pid
    [[ -e $pid_file ]] || return 0
    pid=$(<"$pid_file")
    if [[ $(tr '\0' ' ' 2>/dev/null <"/proc/$pid/cmdline") == *eyelet*serve* ]]; then kill "$pid"; fi
    rm -f "$pid_file"
}

demo() {
    build_command
    stop_page
    say "Playing the demo job in $demo_bench"
    build/release/eyelet demo --bench "$demo_bench" --pdf "$demo_bench/report.pdf"
    setsid build/release/eyelet serve --bench "$demo_bench" --port "$port" \
        >"$demo_bench/page.log" 2>&1 </dev/null &
    echo $! >"$demo_bench/page.pid"
    local tries
    for tries in {1..50}; do
        curl -fs "http://127.0.0.1:$port/api/version" >/dev/null 2>&1 && break
        sleep 0.1
    done
    curl -fs "http://127.0.0.1:$port/api/version" >/dev/null ||
        fail "the page did not start: $(tail -n 1 "$demo_bench/page.log") (EYELET_PORT=N chooses another port)"
    say "Report: $demo_bench/report.pdf"
    say "Page:   http://127.0.0.1:$port/   (./eyelet.sh stop ends it)"
}

run_tests() {
    need "${packages_build[@]}" "${packages_page[@]}" "${packages_test[@]}" "${packages_benchmark[@]}"
    build_page
    (cd web && npm run --silent check)
    say "Building with warnings as errors"
    build dev
    say "Tests of the engines, the store, the command and the server"
    ctest --preset dev --no-tests=error
    say "Tests of the page in a browser"
    (cd web && EYELET=$PWD/../build/dev/eyelet npm run --silent test)
}

case ${1:-} in
    demo) demo ;;
    test) run_tests ;;
    stop) stop_page ;;
    build) build_command ;;
    sanitized)
        need "${packages_build[@]}" "${packages_test[@]}"
        [[ -e build/asan/build.ninja ]] || cmake --preset asan -DEYELET_BENCHMARKS=OFF >/dev/null
        cmake --build build/asan
        # The image and font libraries keep caches to the end of the process; leaks are looked for in our own parsers by `fuzz`.
        ASAN_OPTIONS=detect_leaks=0 ctest --preset asan
        ;;
    kill)
        build_command
        tests/kill/run build/release/eyelet
        ;;
    corpus)
        build_command
        if (($# > 1)); then shift; else set -- ../shared/boards ../shared/real; fi
        build/release/eyelet corpus "$@"
        ;;
    benchmark)
        need "${packages_build[@]}" "${packages_page[@]}" "${packages_benchmark[@]}"
        build_page
        [[ -e build/benchmark/build.ninja ]] || cmake --preset release -B build/benchmark -DEYELET_TESTS=OFF >/dev/null
        cmake --build build/benchmark --target benchmarks
        for program in build/benchmark/benchmarks/benchmark_*; do
            say "${program##*/}"
            "$program"
        done
        ;;
    fuzz)
        need "${packages_build[@]}" clang libclang-rt-14-dev
        [[ -e build/fuzz/build.ninja ]] || cmake --preset fuzz -DEYELET_TESTS=OFF -DEYELET_BENCHMARKS=OFF >/dev/null
        cmake --build build/fuzz --target fuzzers
        for program in build/fuzz/fuzz/fuzz_*; do
            name=${program##*/fuzz_}
            mkdir -p "build/fuzz/corpus/$name"
            "$program" -max_total_time="${2:-60}" -max_len=65536 "build/fuzz/corpus/$name" "fuzz/corpus/$name"
        done
        ;;
    format)
        need clang-format
        files=$(git ls-files '*.h' '*.cpp')
        # shellcheck disable=SC2086  # file names of this project hold no spaces
        if [[ ${2:-} == --check ]]; then clang-format --dry-run -Werror $files; else clang-format -i $files; fi
        ;;
    *)
        usage
        [[ ${1:-} == help ]] || exit 2
        ;;
esac
