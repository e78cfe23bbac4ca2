# bench.mk: `make bench` prints what each step costs, against its goal.
# The Makefile runs it with BUILD, CC and LIB.  Needs valgrind; the comparison with dlib needs
# g++ and libdlib-dev, and is left out with a word where they are missing.  No part of `make test`.
.SUFFIXES:
MAKEFLAGS += --no-builtin-rules

bench:

BENCH_FLAGS := -std=c11 -D_POSIX_C_SOURCE=200809L -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Werror -g -O2 \
	-Iengine -Igrammar -Itests -I.
BENCH_DIR := $(BUILD)/bench
BENCH_C := bench_case bench_wide bench_parse bench_net
BENCH_HELP := tests/held/disk.c tests/bench/usage.c tests/bench/net_file.c
BENCH_PROG := $(BENCH_C:%=$(BENCH_DIR)/%) $(BENCH_DIR)/gen_wide

$(BENCH_DIR)/gen_wide: tests/bench/gen_wide.c
	@mkdir -p $(@D)
	$(CC) $(BENCH_FLAGS) -o $@ $<

$(BENCH_C:%=$(BENCH_DIR)/%): $(BENCH_DIR)/%: tests/bench/%.c $(BENCH_HELP) $(LIB)
	@mkdir -p $(@D)
	$(CC) $(BENCH_FLAGS) -o $@ $^ -lm

$(BENCH_DIR)/dlib_bench: tests/bench/dlib.cpp
	@mkdir -p $(@D)
	-g++ -std=c++14 -O2 -o $@ $< -lpthread

.PHONY: bench
bench: $(BENCH_PROG) $(BENCH_DIR)/dlib_bench
	@sh tests/bench/bench.sh $(BENCH_DIR)
