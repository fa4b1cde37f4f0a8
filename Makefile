# SPDX-License-Identifier: Apache-2.0
# A thin front for a fresh Debian 12: every target first installs what is missing (tools/need.sh).
# With the packages there, plain meson does the same: see CONTRIBUTING.md.
.PHONY: all ui build try bench check benchmark fuzz format format-check tidy clean need

all: build

need:
	@sh tools/need.sh

# The program is whole without the pages: where they cannot be built it serves one that says so.
ui: need
	@sh tools/ui.sh || echo "ui: going on without the pages" >&2

build: ui
	@sh tools/build.sh build

try: build
	@bash tools/try.sh build/src/cli/fettle papers

# The book that make try fills, in the browser; Ctrl-C ends it.
bench: build
	@[ -f papers/van.sqlite ] || bash tools/try.sh build/src/cli/fettle papers
	@XDG_CONFIG_HOME="$$PWD/papers/keys" build/src/cli/fettle bench --book papers/van.sqlite

check: need
	@python3 tools/check.py

benchmark: build
	@python3 benchmarks/run.py build

fuzz: need
	@CC=clang sh tools/build.sh build-fuzz -Dfuzz=true -Db_sanitize=address,undefined -Db_lundef=false
	@python3 tools/fuzz.py build-fuzz

tidy: need
	@CC=clang sh tools/build.sh build-clang
	@python3 tools/tidy.py build-clang

format: need
	@sh tools/format.sh --write

format-check: need
	@sh tools/format.sh

clean:
	rm -rf build build-asan build-clang build-fuzz
