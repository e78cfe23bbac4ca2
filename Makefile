# ringlug: `make` builds build/ringlug, `make test` builds and runs every test,
# `make demo` shows the main job.  Both install first what is missing.
# `make help` lists the targets; V=1 shows whole commands.
.SUFFIXES:
MAKEFLAGS += --no-builtin-rules
.DELETE_ON_ERROR:
.SECONDARY:
.DEFAULT_GOAL := all

ifeq ($(origin CC),default)
CC := gcc
endif
PREFIX ?= /usr/local
DESTDIR ?=
BUILD ?= build
VERSION := 1.0.0

RULES_DIR := $(PREFIX)/share/ringlug/rules
WARN := -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Werror
OPT := -O2
SAN ?=
CFLAGS_ALL = -std=c11 -D_POSIX_C_SOURCE=200809L $(WARN) -g $(OPT) $(SAN) -MMD -MP \
	-Iengine -Igrammar -I$(BUILD)/gen -I. $(CFLAGS)
TOOL_FLAGS = -DRINGLUG_RULES_DIR='"$(RULES_DIR)"' -DRINGLUG_VERSION='"$(VERSION)"'
TEST_FLAGS = -DTEST_TOOL='"$(abspath $(BUILD))/ringlug"' -DTEST_ROOT='"$(CURDIR)"' -Itests
LDLIBS_TOOL := -ljansson -ledit -lm -lpthread
LDLIBS_TEST := -lcmocka -ljansson -lm -lpthread

ENGINE := $(sort $(wildcard engine/*.c))
GRAMMAR := $(sort $(wildcard grammar/*.c))
TOOL := $(sort $(wildcard src/*.c))
GEN_HEADER := $(BUILD)/gen/grammar.tab.h
LIB := $(BUILD)/libringlug.a
GEN_OBJ := $(BUILD)/gen/grammar.tab.o $(BUILD)/gen/lexer.o
# The library's inner loops gain from it; `make OPT=…` rules over both.
$(BUILD)/engine/%.o: OPT := -O3
LIB_OBJ := $(ENGINE:%.c=$(BUILD)/%.o) $(GRAMMAR:%.c=$(BUILD)/%.o) $(GEN_OBJ)
TOOL_OBJ := $(TOOL:%.c=$(BUILD)/%.o)

# Every tests/FOLDER/test_NAME.c is a program; other C files there are helpers
# that any of them may use.  fuzz and bench have makefiles of their own.
TEST_MAIN := $(sort $(wildcard tests/*/test_*.c))
TEST_HELP := $(sort $(filter-out $(TEST_MAIN) $(wildcard tests/fuzz/*.c tests/bench/*.c),$(wildcard tests/*/*.c)))
TEST_PROG := $(TEST_MAIN:%.c=$(BUILD)/%)
TEST_OBJ := $(TEST_MAIN:%.c=$(BUILD)/%.o) $(TEST_HELP:%.c=$(BUILD)/%.o)
TEST_LIB := $(BUILD)/libtesthelp.a

.PHONY: all lib help deps demo show-demo test build-tests run-tests lint messages readme golden \
	sanitize clang install test-install fuzz bench clean
all: $(BUILD)/ringlug
lib: $(LIB)

# What a build says, unless V=1.
ifeq ($(V),1)
say = $(1)
else
say = @printf '  %-6s %s\n' '$(2)' '$(3)'; $(1)
endif
compile = $(call say,$(CC) $(CFLAGS_ALL) $(1) -c -o $@ $<,CC,$<)
# q: two members of one name (an engine/x.c and a grammar/x.c) both stay.
archive = $(call say,rm -f $@ && ar qcs $@ $^,AR,$@)
# A missing program is said in words; `deps` installs it.
need = @command -v $(1) >/dev/null || { echo "$(1) is missing: run \`make deps\` first" >&2; exit 1; }

# ---- the library and the tool ----

# bison writes both files at once; the header is never older than the source.
$(BUILD)/gen/grammar.tab.c: grammar/grammar.y
	@mkdir -p $(@D)
	$(call need,bison)
	$(call say,bison -Wall -Wcounterexamples -Werror -o $@ --header=$(GEN_HEADER) $<,BISON,$<)

$(GEN_HEADER): $(BUILD)/gen/grammar.tab.c
	@touch $@

$(BUILD)/gen/lexer.c: grammar/lexer.l
	@mkdir -p $(@D)
	$(call need,flex)
	$(call say,flex -o $@ $<,FLEX,$<)

$(GEN_OBJ): $(BUILD)/gen/%.o: $(BUILD)/gen/%.c $(GEN_HEADER)
	$(call compile)

$(GRAMMAR:%.c=$(BUILD)/%.o): $(BUILD)/%.o: %.c $(GEN_HEADER)
	@mkdir -p $(@D)
	$(call compile)

$(ENGINE:%.c=$(BUILD)/%.o): $(BUILD)/%.o: %.c
	@mkdir -p $(@D)
	$(call compile)

$(TOOL_OBJ): $(BUILD)/%.o: %.c
	@mkdir -p $(@D)
	$(call compile,$(TOOL_FLAGS))

$(LIB): $(LIB_OBJ)
	$(archive)

$(BUILD)/ringlug: $(TOOL_OBJ) $(LIB)
	$(call say,$(CC) $(SAN) $(LDFLAGS) -o $@ $^ $(LDLIBS_TOOL),LD,$@)

# ---- tests ----

$(TEST_OBJ): $(BUILD)/%.o: %.c $(GEN_HEADER)
	@mkdir -p $(@D)
	$(call compile,$(TEST_FLAGS))

$(TEST_LIB): $(TEST_HELP:%.c=$(BUILD)/%.o)
	$(archive)

$(TEST_PROG): %: %.o $(TEST_LIB) $(LIB)
	$(call say,$(CC) $(SAN) $(LDFLAGS) -o $@ $^ $(LDLIBS_TEST),LD,$@)

build-tests: $(BUILD)/ringlug $(TEST_PROG)

test: deps
	@$(MAKE) --no-print-directory run-tests

run-tests: lint build-tests
	@tests/run.sh $(TEST_PROG)

lint: $(LIB_OBJ)
	@tests/lint.sh $(BUILD)

# gcc warns of more with sanitizers than there is (its manual says so): not an error here.
# test_oracle is about the oracle alone and takes minutes; test_random runs both.
SANITIZE := -fsanitize=address,undefined -fno-sanitize-recover=all -fno-omit-frame-pointer
SANITIZE_TESTS := $(filter-out tests/prop/test_oracle.c,$(TEST_MAIN))
sanitize:
	@$(MAKE) --no-print-directory BUILD=$(BUILD)/sanitize OPT=-O1 SAN="$(SANITIZE)" \
		CFLAGS="-Wno-error $(CFLAGS)" build-tests
	@tests/sanitize.sh $(SANITIZE_TESTS:%.c=$(BUILD)/sanitize/%)

clang:
	@$(MAKE) --no-print-directory BUILD=$(BUILD)/clang CC=clang build-tests

# Rewrites the expected outputs that are named: make golden NAMES="small-rank demo-json" (or all).
golden: $(BUILD)/ringlug
	@tests/golden/rewrite.sh $(BUILD)/ringlug $(NAMES)

# Writes docs/messages.md anew from engine/messages.def and the files of tests/lang/bad.
messages:
	@tests/docs/messages.sh > docs/messages.new && mv docs/messages.new docs/messages.md

# Fills in anew what the tool prints in the README's session.
readme: $(BUILD)/ringlug
	@tests/docs/readme.sh $(BUILD)/ringlug

HOOK_VARS = BUILD="$(BUILD)" CC="$(CC)" LIB="$(LIB)" VERSION="$(VERSION)"
fuzz:
	@$(MAKE) --no-print-directory -f tests/fuzz/fuzz.mk $(HOOK_VARS)

bench: $(BUILD)/ringlug
	@$(MAKE) --no-print-directory -f tests/bench/bench.mk $(HOOK_VARS)

# ---- for people ----

DEPS := libc6-dev flex bison libcmocka-dev libjansson-dev libedit-dev
deps:
	@tests/deps.sh $(DEPS)

demo: deps
	@$(MAKE) --no-print-directory all
	@$(MAKE) --no-print-directory show-demo

DEMO_RULES := rules/demo-moraine.gnd
DEMO_CASE := docs/examples/rear-lamps.case
show-demo: $(BUILD)/ringlug
	@echo; echo '$$ cat $(DEMO_CASE)'; cat $(DEMO_CASE)
	@echo; echo '$$ $(BUILD)/ringlug rank $(DEMO_RULES) $(DEMO_CASE)'
	@$(BUILD)/ringlug rank $(DEMO_RULES) $(DEMO_CASE)
	@echo 'Now line by line, at the prompt:  $(BUILD)/ringlug ask $(DEMO_RULES)'

install: all
	install -d $(DESTDIR)$(PREFIX)/bin $(DESTDIR)$(PREFIX)/lib/pkgconfig $(DESTDIR)$(PREFIX)/include \
		$(DESTDIR)$(RULES_DIR) $(DESTDIR)$(PREFIX)/share/man/man1
	install -m 755 $(BUILD)/ringlug $(DESTDIR)$(PREFIX)/bin/ringlug
	install -m 644 $(LIB) $(DESTDIR)$(PREFIX)/lib/libringlug.a
	install -m 644 engine/ringlug.h $(DESTDIR)$(PREFIX)/include/ringlug.h
	install -m 644 rules/*.gnd rules/*.case $(DESTDIR)$(RULES_DIR)
	install -m 644 docs/*.1 $(DESTDIR)$(PREFIX)/share/man/man1
	sed -e 's|@PREFIX@|$(PREFIX)|' -e 's|@VERSION@|$(VERSION)|' docs/ringlug.pc.in \
		> $(DESTDIR)$(PREFIX)/lib/pkgconfig/ringlug.pc

# Installs into a folder of its own, and builds and runs a program on what is there.
test-install:
	@+tests/install.sh $(BUILD) $(CC)

clean:
	rm -rf $(BUILD)

help:
	@echo 'make              the tool, build/ringlug'
	@echo 'make demo         installs what is missing, builds, ranks a case of the demo vehicle'
	@echo 'make test         installs what is missing, builds, checks the sources, runs every test'
	@echo 'make lint         the layer rule and the other habits of DEVELOPERS.md'
	@echo 'make sanitize     the tests under the address and undefined behaviour sanitizers'
	@echo 'make clang        everything with clang'
	@echo 'make fuzz, bench  tests/fuzz and tests/bench'
	@echo 'make golden       rewrites expected outputs: NAMES="one two" or NAMES=all'
	@echo 'make messages     writes docs/messages.md anew; make readme the README\''s session'
	@echo 'make install      PREFIX (/usr/local) and DESTDIR; test-install tries it'
	@echo 'make deps, clean'

-include $(LIB_OBJ:.o=.d) $(TOOL_OBJ:.o=.d) $(TEST_OBJ:.o=.d)
