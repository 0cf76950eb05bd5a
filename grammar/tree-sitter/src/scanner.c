// What one look at a word's neighbours settles, as the compiler settles it before it parses:
// - a word right before "=" is the name of what is set, and never part of the value before it;
// - a number takes the unit that follows it on its line: no blanks inside, "oz*in", "ft/s", "in^2", "1/degF";
// - a word such as "H7" behind a size with a unit is a tolerance class;
// - a line end ends a table's row.
// The scanner keeps nothing from one call to the next.

#include "joining.h"
#include "tree_sitter/parser.h"

#include <stdbool.h>
#include <string.h>

enum { UNIT, TOLERANCE_CLASS, FIELD_NAME, ROW_END, RECOVERING };

// Longer than any joining word or class; of longer words the rest is not looked at.
#define LONGEST 16

static bool is_blank(int32_t c) { return c == ' ' || c == '\t' || c == 0xFEFF || c == 0xA0; }

static bool is_digit(int32_t c) { return c >= '0' && c <= '9'; }

static bool is_letter(int32_t c) { return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z'); }

static bool begins_word(int32_t c) {
  switch (c) {
    case '_':
    case '%':
    case 0xB0:    // °
    case 0xB5:    // µ
    case 0x3BC:   // μ
    case 0x2103:  // ℃
    case 0x2109:  // ℉
    case 0x394:   // Δ
      return true;
    default:
      return is_letter(c);
  }
}

static bool goes_on_with_word(int32_t c) {
  switch (c) {
    case '_':
    case 0xB0:    // °
    case 0xB5:    // µ
    case 0x3BC:   // μ
    case 0xB2:    // ²
    case 0xB3:    // ³
    case 0x2074:  // ⁴
    case 0x207B:  // ⁻
    case 0xB9:    // ¹
      return true;
    default:
      return is_letter(c) || is_digit(c);
  }
}

static bool is_times_or_over(int32_t c) {
  return c == '*' || c == '/' || c == 0xB7 || c == 0x22C5 || c == 0xD7;
}

static bool is_minus(int32_t c) { return c == '-' || c == 0x2212; }

static void advance(TSLexer *lexer) { lexer->advance(lexer, false); }

// Takes a word; its first bytes go to `word`, where they are ASCII.
static void take_word(TSLexer *lexer, char word[LONGEST]) {
  unsigned length = 0;
  do {
    if (length < LONGEST - 1) word[length++] = lexer->lookahead < 128 ? (char)lexer->lookahead : '?';
    advance(lexer);
  } while (goes_on_with_word(lexer->lookahead));
  word[length] = 0;
}

static bool joins(const char *word) {
  for (unsigned i = 0; i < sizeof JOINING / sizeof *JOINING; i++) {
    if (strcmp(word, JOINING[i]) == 0) return true;
  }
  return false;
}

// One or two letters and one or two digits, as ISO 286 writes its classes.
static bool looks_like_class(const char *word) {
  unsigned letters = 0;
  while (is_letter(word[letters])) letters++;
  unsigned digits = 0;
  while (is_digit(word[letters + digits])) digits++;
  return letters >= 1 && letters <= 2 && digits >= 1 && digits <= 2 && word[letters + digits] == 0;
}

// Goes on with a unit behind its first word. What cannot be part of it is left behind the token's end.
static void take_rest_of_unit(TSLexer *lexer) {
  char word[LONGEST];
  for (;;) {
    lexer->mark_end(lexer);
    if (is_times_or_over(lexer->lookahead)) {
      advance(lexer);
      if (!begins_word(lexer->lookahead)) return;
      take_word(lexer, word);
    } else if (lexer->lookahead == '^') {
      advance(lexer);
      if (is_minus(lexer->lookahead)) advance(lexer);
      if (!is_digit(lexer->lookahead)) return;
      while (is_digit(lexer->lookahead) || lexer->lookahead == '_') advance(lexer);
      lexer->mark_end(lexer);
      if (lexer->lookahead == '.') {
        advance(lexer);
        if (!is_digit(lexer->lookahead)) return;
        while (is_digit(lexer->lookahead) || lexer->lookahead == '_') advance(lexer);
      }
    } else {
      return;
    }
  }
}

void *tree_sitter_pump_external_scanner_create(void) { return NULL; }

void tree_sitter_pump_external_scanner_destroy(void *payload) { (void)payload; }

unsigned tree_sitter_pump_external_scanner_serialize(void *payload, char *buffer) {
  (void)payload;
  (void)buffer;
  return 0;
}

void tree_sitter_pump_external_scanner_deserialize(void *payload, const char *buffer, unsigned length) {
  (void)payload;
  (void)buffer;
  (void)length;
}

bool tree_sitter_pump_external_scanner_scan(void *payload, TSLexer *lexer, const bool *valid) {
  (void)payload;
  // While the parser recovers everything is valid; only the names of fields are sure enough to go on from.
  bool recovering = valid[RECOVERING];
  bool first = false;
  for (;; lexer->advance(lexer, true)) {
    int32_t c = lexer->lookahead;
    if (c == '\n' || c == '\r') {
      if (valid[ROW_END] && !recovering) {
        advance(lexer);
        lexer->mark_end(lexer);
        lexer->result_symbol = ROW_END;
        return true;
      }
      first = true;
    } else if (!is_blank(c)) {
      break;
    }
  }

  bool unit = valid[UNIT] && !recovering && !first;
  bool class = valid[TOLERANCE_CLASS] && !recovering && !first;
  if (unit && lexer->lookahead == '1') {
    advance(lexer);
    if (lexer->lookahead != '/') return false;
    advance(lexer);
    if (!begins_word(lexer->lookahead)) return false;
    char word[LONGEST];
    take_word(lexer, word);
    take_rest_of_unit(lexer);
    lexer->result_symbol = UNIT;
    return true;
  }

  if (!begins_word(lexer->lookahead) || !(unit || class || valid[FIELD_NAME])) return false;
  char word[LONGEST];
  take_word(lexer, word);
  lexer->mark_end(lexer);
  // Only behind a blank may "=" come later; right behind the word a unit goes on.
  bool apart = is_blank(lexer->lookahead);
  while (is_blank(lexer->lookahead)) advance(lexer);
  if (lexer->lookahead == '=') {
    if (!valid[FIELD_NAME]) return false;
    lexer->result_symbol = FIELD_NAME;
    return true;
  }
  if (class && looks_like_class(word)) {
    lexer->result_symbol = TOLERANCE_CLASS;
    return true;
  }
  if (!unit || joins(word)) return false;
  if (!apart) take_rest_of_unit(lexer);
  lexer->result_symbol = UNIT;
  return true;
}
