# ringlug: `make` builds build/ringlug, `make test` runs every test,
# `make demo` installs what is missing and shows the main job.
.SUFFIXES:
MAKEFLAGS += --no-builtin-rules
.DELETE_ON_ERROR:

CC ?= gcc
ifeq ($(origin CC),default)
CC := gcc
endif
PREFIX ?= /usr/local
DESTDIR ?=
BUILD ?= build
VERSION := 1.0.0

RULES_DIR := $(PREFIX)/share/ringlug/rules
WARN := -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Werror
OPT ?= -O2
SAN ?=
CFLAGS_ALL := -std=c11 -D_POSIX_C_SOURCE=200809L $(WARN) -g $(OPT) $(SAN) -MMD -MP \
	-Iengine -Igrammar -I$(BUILD)/gen -I. $(CFLAGS)
TOOL_FLAGS := -DRINGLUG_RULES_DIR='"$(RULES_DIR)"' -DRINGLUG_VERSION='"$(VERSION)"'
TEST_FLAGS := -DTEST_TOOL='"$(abspath $(BUILD))/ringlug"' -DTEST_ROOT='"$(CURDIR)"' -Itests
LDLIBS_TOOL := -ljansson -ledit -lm
LDLIBS_TEST := -lcmocka -ljansson -lm

ENGINE := $(sort $(wildcard engine/*.c))
GRAMMAR := $(sort $(wildcard grammar/*.c))
TOOL := $(sort $(wildcard src/*.c))
GEN := $(BUILD)/gen/grammar.tab.c $(BUILD)/gen/lexer.c
LIB := $(BUILD)/libringlug.a
LIB_OBJ := $(ENGINE:%.c=$(BUILD)/%.o) $(GRAMMAR:%.c=$(BUILD)/%.o) $(GEN:%.c=%.o)
TOOL_OBJ := $(TOOL:%.c=$(BUILD)/%.o)

# Every tests/FOLDER/test_NAME.c is a program; other C files are its helpers.
TEST_MAIN := $(sort $(wildcard tests/*/test_*.c))
TEST_HELP := $(sort $(filter-out $(TEST_MAIN) $(wildcard tests/fuzz/*.c tests/bench/*.c),$(wildcard tests/*.c tests/*/*.c)))
TEST_PROG := $(TEST_MAIN:%.c=$(BUILD)/%)
TEST_LIB := $(BUILD)/libtesthelp.a

.PHONY: all deps demo test lint install clean sanitize clang bench fuzz golden
all: $(BUILD)/ringlug

-include $(LIB_OBJ:.o=.d) $(TOOL_OBJ:.o=.d) $(TEST_PROG:=.d) $(TEST_HELP:%.c=$(BUILD)/%.d)

# ---- the library and the tool ----

$(BUILD)/gen/grammar.tab.c: grammar/grammar.y
	@mkdir -p $(@D)
	bison -Wall -Wcounterexamples -Werror -o $@ --header=$(BUILD)/gen/grammar.tab.h $<

$(BUILD)/gen/grammar.tab.h: $(BUILD)/gen/grammar.tab.c ;

$(BUILD)/gen/lexer.c: grammar/lexer.l $(BUILD)/gen/grammar.tab.h
	@mkdir -p $(@D)
	flex -o $@ $<

$(BUILD)/gen/%.o: $(BUILD)/gen/%.c $(BUILD)/gen/grammar.tab.h
	$(CC) $(CFLAGS_ALL) -c -o $@ $<

$(BUILD)/grammar/%.o: grammar/%.c $(BUILD)/gen/grammar.tab.h
	@mkdir -p $(@D)
	$(CC) $(CFLAGS_ALL) -c -o $@ $<

$(BUILD)/engine/%.o: engine/%.c
	@mkdir -p $(@D)
	$(CC) $(CFLAGS_ALL) -c -o $@ $<

$(BUILD)/src/%.o: src/%.c
	@mkdir -p $(@D)
	$(CC) $(CFLAGS_ALL) $(TOOL_FLAGS) -c -o $@ $<

$(LIB): $(LIB_OBJ)
	@rm -f $@
	ar rcs $@ $^

$(BUILD)/ringlug: $(TOOL_OBJ) $(LIB)
	$(CC) $(SAN) -o $@ $^ $(LDLIBS_TOOL)

# ---- tests ----

$(BUILD)/tests/%.o: tests/%.c
	@mkdir -p $(@D)
	$(CC) $(CFLAGS_ALL) $(TEST_FLAGS) -c -o $@ $<

$(TEST_LIB): $(TEST_HELP:%.c=$(BUILD)/%.o)
	@rm -f $@
	ar rcs $@ $^

$(BUILD)/tests/%: tests/%.c $(TEST_LIB) $(LIB)
	@mkdir -p $(@D)
	$(CC) $(CFLAGS_ALL) $(TEST_FLAGS) -o $@ $< $(TEST_LIB) $(LIB) $(LDLIBS_TEST)

test: lint $(BUILD)/ringlug $(TEST_PROG)
	@tests/run.sh $(TEST_PROG)

lint:
	@tests/lint.sh

sanitize:
	$(MAKE) BUILD=$(BUILD)-san OPT=-O1 SAN="-fsanitize=address,undefined -fno-sanitize-recover=all" test

clang:
	$(MAKE) BUILD=$(BUILD)-clang CC=clang all

golden: $(BUILD)/ringlug
	@tests/golden/rewrite.sh $(BUILD)/ringlug

# ---- for people ----

DEPS := flex bison libcmocka-dev libjansson-dev libedit-dev
deps:
	@missing=""; for p in $(DEPS); do dpkg -s $$p >/dev/null 2>&1 || missing="$$missing $$p"; done; \
	if [ -n "$$missing" ]; then apt-get update && DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends $$missing; fi

demo: deps
	@$(MAKE) --no-print-directory all
	@$(MAKE) --no-print-directory show-demo

install: all
	install -d $(DESTDIR)$(PREFIX)/bin $(DESTDIR)$(PREFIX)/lib/pkgconfig $(DESTDIR)$(PREFIX)/include \
		$(DESTDIR)$(RULES_DIR) $(DESTDIR)$(PREFIX)/share/man/man1
	install -m 755 $(BUILD)/ringlug $(DESTDIR)$(PREFIX)/bin/ringlug
	install -m 644 $(LIB) $(DESTDIR)$(PREFIX)/lib/libringlug.a
	install -m 644 engine/ringlug.h $(DESTDIR)$(PREFIX)/include/ringlug.h
	install -m 644 rules/* $(DESTDIR)$(RULES_DIR)
	install -m 644 docs/*.1 $(DESTDIR)$(PREFIX)/share/man/man1
	sed -e 's|@PREFIX@|$(PREFIX)|' -e 's|@VERSION@|$(VERSION)|' docs/ringlug.pc.in \
		> $(DESTDIR)$(PREFIX)/lib/pkgconfig/ringlug.pc

clean:
	rm -rf $(BUILD) $(BUILD)-san $(BUILD)-clang
