// The grammar of .pump files for tree-sitter; the same language as ../cutwater.ebnf.
//
// The rules follow the reference grammar. What the compiler settles with one look at a word's neighbours is settled in
// src/scanner.c: which word is a field's name, which is a unit or a tolerance class, and where a table's rows end.
// Words of kinds, fields and functions are names here; queries/highlights.scm knows them by lists made from the schema.
//
// Two trees differ from the compiler's, both without a difference in what is accepted: "-5" is a negation of 5, and an
// item ends where the next begins, not where the first column says so.

const words = require('../words.json');

const BLANKS = /[ \t\r\n\uFEFF\u00A0]/;
const MINUS = ['-', '\u2212'];
const TIMES = ['*', '\u00B7', '\u22C5', '\u00D7'];
const DIGITS = '[0-9][0-9_]*';
const NUMBER = `((${DIGITS}(\\.${DIGITS})?|\\.${DIGITS})([eE][+-]?[0-9]+)?|([0-9]+-)?[0-9]+/[0-9]+)`;

const PREC = { range: 1, sum: 2, product: 3, sign: 4, power: 5, call: 6 };

/** Rules between commas, with one more comma at the end or not. */
const list = rule => optional(seq(rule, repeat(seq(',', rule)), optional(',')));

/** Rules between words or signs. */
const between = (rule, sign) => seq(rule, repeat(seq(sign, rule)));

module.exports = grammar({
  name: 'pump',

  externals: $ => [
    $.unit,
    $.tolerance_class,
    $._field_name,
    $._row_end,
    $._recovering,
  ],

  extras: $ => [BLANKS, $.comment, $.doc_comment, $.file_comment],

  word: $ => $.name,

  supertypes: $ => [$.item, $.entry, $.expression],

  // A "(" behind a number opens a tolerance, or the columns of a table.
  conflicts: $ => [[$.quantity]],

  rules: {
    source_file: $ => repeat($.item),

    item: $ => choice($.use, $.let, $.require, $.accept, $.declaration),

    use: $ => seq('use', field('path', $.text), 'as', field('name', $.name)),

    let: $ => seq(
      'let',
      choice(
        field('name', alias($._field_name, $.name)),
        seq(field('name', $.name), field('parameters', $.parameters)),
      ),
      '=',
      field('value', $._value),
    ),

    require: $ => seq(
      'require',
      optional(seq($.every, ':')),
      field('condition', $.condition),
      optional($._reason),
    ),

    every: $ => seq(
      'for',
      'every',
      field('kind', alias($.name, $.kind)),
      field('name', $.name),
      optional(seq('of', field('owner', $.path))),
      optional(seq('where', between($.condition, 'and'))),
    ),

    condition: $ => seq(
      field('value', $.expression),
      choice(
        seq(field('operator', choice('>=', '≥', '<=', '≤', '>', '<')), field('limit', $.expression)),
        seq('within', field('limit', $.expression)),
        seq('is', optional('not'), field('limit', $.expression)),
      ),
    ),

    accept: $ => seq(
      'accept',
      field('code', alias($.name, $.code)),
      optional(seq('on', field('place', $.path))),
      $._reason,
      optional(seq('until', field('until', $.date))),
    ),

    _reason: $ => seq('because', field('reason', $.text)),

    declaration: $ => seq(
      field('kind', alias($.name, $.kind)),
      optional(seq(field('name', $.name), optional(field('parameters', $.parameters)))),
      optional(seq('like', field('like', $.path), optional(field('arguments', $.arguments)))),
      optional(seq('of', field('owner', $.path))),
      field('body', $.block),
    ),

    parameters: $ => seq('(', list($.parameter), ')'),

    parameter: $ => choice(
      field('name', $.name),
      seq(field('name', alias($._field_name, $.name)), '=', field('value', $.expression)),
    ),

    arguments: $ => seq('(', list($.argument), ')'),

    argument: $ => seq(field('name', alias($._field_name, $.name)), '=', field('value', $.expression)),

    block: $ => seq('{', repeat(choice($.entry, ';')), '}'),

    entry: $ => choice($.field, $.hold, $.accept, $.table, $.group, $.chain),

    field: $ => seq(field('name', alias($._field_name, $.name)), '=', field('value', $._value)),

    hold: $ => seq(
      'hold',
      field('target', choice($.path, alias($._held_field, $.path))),
      '=',
      field('value', $._value),
    ),

    _held_field: $ => alias($._field_name, $.name),

    group: $ => seq(field('name', $.name), field('body', $.block)),

    table: $ => seq(
      field('name', $.name),
      optional(seq('at', field('at', $.expression))),
      field('head', $.columns),
      field('body', $.rows),
    ),

    columns: $ => seq('(', list($.column), ')'),

    column: $ => seq(field('name', $.name), optional(field('unit', $.unit))),

    rows: $ => seq(
      '{',
      repeat(choice($._row_end, ';', seq($.row, choice($._row_end, ';')))),
      optional($.row),
      '}',
    ),

    row: $ => repeat1(choice(
      alias($.cell_number, $.number),
      seq('+', alias($.cell_number, $.number)),
      $.absent,
      $.text,
      $.name,
    )),

    cell_number: _ => new RegExp(`[-\u2212]?${NUMBER}`),

    absent: _ => token(choice(...MINUS)),

    chain: $ => seq($.segment, repeat1(seq(choice('->', '→'), $.segment))),

    segment: $ => seq(
      optional(seq(field('label', $.name), ':')),
      optional(seq(field('amount', choice($.quantity, alias($.negative_quantity, $.negation))), 'of')),
      field('what', $.path),
      repeat($.modifier),
    ),

    negative_quantity: $ => seq(choice(...MINUS), $.quantity),

    modifier: $ => seq(choice(...words.grammar.modifiers), field('value', $.expression)),

    _value: $ => choice($.expression, $.piece, $.phrase),

    piece: $ => seq(field('amount', $.expression), 'of', field('what', $.path)),

    phrase: $ => seq(
      $.expression,
      repeat1(seq(choice(...words.grammar.prepositions), $.expression)),
    ),

    expression: $ => choice($.range, $.sum, $.product, $.negation, $.power, $._atom),

    range: $ => prec.left(PREC.range, seq(field('low', $.expression), '..', field('high', $.expression))),

    sum: $ => prec.left(PREC.sum, seq($.expression, choice('+', ...MINUS), $.expression)),

    product: $ => prec.left(PREC.product, seq($.expression, choice(...TIMES, '/'), $.expression)),

    negation: $ => prec(PREC.sign, seq(choice(...MINUS), $.expression)),

    power: $ => prec(PREC.power, seq(
      field('base', $._atom),
      '^',
      field('exponent', choice($._atom, alias($.negative_atom, $.negation))),
    )),

    // The compiler takes two signs at most, the second a number's own.
    negative_atom: $ => seq(choice(...MINUS), choice($._atom, alias($.negative_atom, $.negation))),

    _atom: $ => choice($.quantity, $.date, $.text, $.path, $.element, $.call, $.list, $.parenthesized),

    parenthesized: $ => seq('(', $.expression, ')'),

    element: $ => seq($.path, $.index, repeat(choice($.index, seq('.', field('member', $.name))))),

    index: $ => seq('[', $.expression, ']'),

    // The compiler takes two names at most, a file's and its function's.
    call: $ => prec(PREC.call, seq(field('function', $.path), field('arguments', alias($.call_arguments, $.arguments)))),

    call_arguments: $ => seq('(', list($.expression), ')'),

    list: $ => seq('[', list($.expression), ']'),

    // Without a unit, "H7" is taken for one.
    quantity: $ => seq(
      $.number,
      optional(choice(
        $.tolerance,
        seq(field('unit', $.unit), optional(choice($.tolerance, $.tolerance_class))),
      )),
    ),

    tolerance: $ => choice(
      seq(choice('±', '+-', '+/-'), $.number, optional(field('unit', $.unit))),
      seq('(', $.deviation, '/', $.deviation, optional(field('unit', $.unit)), ')'),
    ),

    deviation: $ => seq(optional(choice('+', ...MINUS)), $.number),

    path: $ => seq($.name, repeat(seq('.', field('member', $.name)))),

    number: _ => new RegExp(NUMBER),

    date: _ => /[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]/,

    text: _ => /"[^"\r\n]*"/,

    name: _ => /[A-Za-z_%°µμ℃℉Δ][A-Za-z0-9_°µμ²³⁴⁻¹]*/,

    comment: _ => /\/\/([^\/!\r\n][^\r\n]*)?/,

    doc_comment: _ => /\/\/\/[^\r\n]*/,

    file_comment: _ => /\/\/![^\r\n]*/,
  },
});
