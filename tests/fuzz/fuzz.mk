# fuzz.mk: `make fuzz` builds the libFuzzer targets and runs each for FUZZ_SECONDS.
# The Makefile runs it with BUILD, CC and LIB.  Needs clang and libclang-rt; no part of `make test`,
# which feeds the saved inputs (test_corpus.c) instead.
#
# New inputs go to $(BUILD)/fuzz/found/TARGET, crashes to tests/fuzz/corpus/TARGET:
# an input that once broke something stays there for good.
.SUFFIXES:
MAKEFLAGS += --no-builtin-rules

fuzz:

FUZZ_SECONDS ?= 60
FUZZ_TARGETS := rules case
FUZZ_DIR := $(BUILD)/fuzz
FUZZ_FLAGS := -std=c11 -D_POSIX_C_SOURCE=200809L -g -O1 -Iengine -Igrammar -I$(BUILD)/gen -I. -Itests \
	-fsanitize=address,undefined -fno-sanitize-recover=all
# What reads text is watched for coverage; what computes is not: it would be ten times slower.
FUZZ_READS := $(wildcard engine/lower*.c engine/evidence*.c engine/book.c engine/case.c engine/checks.c engine/include.c \
	engine/names.c engine/number.c engine/diag.c engine/stretch.c engine/paths.c engine/observe*.c grammar/*.c)
FUZZ_OBJ := $(patsubst %.c,$(FUZZ_DIR)/%.o,$(wildcard engine/*.c grammar/*.c) tests/held/held.c tests/held/feed.c) \
	$(FUZZ_DIR)/gen/grammar.tab.o $(FUZZ_DIR)/gen/lexer.o
$(patsubst %.c,$(FUZZ_DIR)/%.o,$(FUZZ_READS)) $(FUZZ_DIR)/gen/grammar.tab.o $(FUZZ_DIR)/gen/lexer.o: \
	FUZZ_COVER := -fsanitize=fuzzer-no-link

# The generated sources come with the library.
$(BUILD)/gen/grammar.tab.h $(BUILD)/gen/grammar.tab.c $(BUILD)/gen/lexer.c:
	@$(MAKE) --no-print-directory -f Makefile BUILD=$(BUILD) $(LIB)

$(FUZZ_DIR)/gen/%.o: $(BUILD)/gen/%.c $(BUILD)/gen/grammar.tab.h
	@mkdir -p $(@D)
	clang $(FUZZ_FLAGS) $(FUZZ_COVER) -c -o $@ $<

$(FUZZ_DIR)/%.o: %.c $(BUILD)/gen/grammar.tab.h $(wildcard engine/*.h grammar/*.h)
	@mkdir -p $(@D)
	clang $(FUZZ_FLAGS) $(FUZZ_COVER) -c -o $@ $<

$(FUZZ_DIR)/fuzz_%: tests/fuzz/fuzz_%.c $(FUZZ_OBJ)
	clang $(FUZZ_FLAGS) -fsanitize=fuzzer -o $@ $^ -lm

.PHONY: fuzz
fuzz: $(FUZZ_TARGETS:%=$(FUZZ_DIR)/fuzz_%)
	@for t in $(FUZZ_TARGETS); do \
		mkdir -p $(FUZZ_DIR)/found/$$t && \
		$(FUZZ_DIR)/fuzz_$$t -dict=tests/fuzz/words.dict -max_total_time=$(FUZZ_SECONDS) -timeout=20 \
			-rss_limit_mb=2048 -max_len=4000 -artifact_prefix=tests/fuzz/corpus/$$t/ -print_final_stats=1 \
			$(FUZZ_DIR)/found/$$t tests/fuzz/corpus/$$t || exit 1; \
	done
