//! The reference grammar, in the notation of ISO/IEC 14977: `grammar/cutwater.ebnf` is made from the text here, with the
//! words from [`crate::words`] and those that the compiler looks up.
//!
//! The rules are those of [`crate::parser`]; what [`crate::token`], [`crate::prepare`] and [`crate::split`] settle before it is
//! said at the top and in the lexical rules. Tests hold the two together: sentences made from these rules are read
//! by the parser without a slip, and what the parser reads without a slip is a sentence of these rules.

use crate::MAX_NESTING;
use crate::words::{Sort, joining, of_sort};

const RULES: &str = r#"(* The grammar of .pump files, UTF-8. Notation of ISO/IEC 14977. Made from the compiler's own tables; do not edit.

   Words of kinds, functions, fields and units are looked up (see reference.md): one that is not known is no slip of syntax.
   - A word right before "=" is the name of what is set, and never part of the value before it.
   - A number takes the unit that follows it on its line. A unit has no blanks inside: oz*in, ft/s, lb/in^3.
   - A class, and the names of a path behind its first, stand on the line of what they belong to.
   - "-" that touches the number behind it is the number's sign where no value stands before it, and in a table wherever a
     blank does.
   - A name right before "(" or "[" in a value is a function's or a list's.
   - A number must be computable: nothing divided by zero, nothing too large for a float.
   - Line ends matter only between the rows of a table and between entries; ";" stands for one.
   - An entry that begins with a number, and an item, begin on lines of their own. A word that begins a line of a block, no
     further in than the entry before it, begins the next entry.
   - An item that begins in the first column begins, whatever brackets stand open before it.
   - At most {nesting} brackets may be open at once.
   - Comments may stand wherever a line may end; "///" documents the item or entry that follows, "//!" the file. *)

file        = { item } ;
item        = use | let | require | accept | declaration ;

use         = "use", text, "as", name ;
let         = "let", ( word | name, name_list ), "=", value ;
name_list   = "(", [ name, { ",", name }, [ "," ] ], ")" ;
require     = "require", [ every, ":" ], condition, [ "because", text ] ;
every       = "for", "every", name, name, [ "of", path ], [ "where", condition, { "and", condition } ] ;
condition   = expression, rule ;
rule        = ( at_least | at_most | ">" | "<" ), expression
            | "within", expression
            | "is", [ "not" ], expression ;
accept      = "accept", code, [ "on", path ], "because", text, [ "until", date ] ;
code        = name ;

declaration = kind, [ name, [ parameters ] ], [ "like", path, [ arguments ] ], [ "of", path ], block ;
kind        = {kinds}
            | name - item_word ;
item_word   = {items} ;
parameters  = "(", [ parameter, { ",", parameter }, [ "," ] ], ")" ;
parameter   = name | word, "=", expression ;
arguments   = "(", [ argument, { ",", argument }, [ "," ] ], ")" ;
argument    = word, "=", expression ;

block       = "{", { entry | ";" }, "}" ;
entry       = field | hold | accept | table | group | chain ;
field       = word, "=", value ;
hold        = "hold", ( path | word ), "=", value ;
group       = name, block ;

table       = name, [ "at", expression ], columns, rows ;
columns     = "(", [ column, { ",", column }, [ "," ] ], ")" ;
column      = name, [ unit ] ;
rows        = "{", { row_end }, [ row, { row_end, { row_end }, row }, { row_end } ], "}" ;
row         = cell, { cell } ;
cell        = number | "+", unsigned | minus | text | word ;
row_end     = newline | ";" ;

chain       = segment, arrow, segment, { arrow, segment } ;
segment     = [ name, ":" ], [ quantity, "of" ], path, { modifier } ;
modifier    = ( {modifiers} ), expression ;

value       = expression, [ "of", path | preposition, expression, { preposition, expression } ] ;
preposition = {prepositions} ;
expression  = sum, [ "..", sum ] ;
sum         = product, { ( "+" | minus ), product } ;
product     = signed, { ( times | "/" ), signed } ;
signed      = { minus }, atom, [ "^", [ minus ], atom ] ;
atom        = quantity | date | text | path | element | call | list | "(", expression, ")" ;
element     = path, index, { index | ".", word } ;
index       = "[", expression, "]" ;                                     (* counted from 1 *)
call        = function, "(", [ expression, { ",", expression }, [ "," ] ], ")" ;
function    = {functions}
            | name, [ ".", word ] ;
list        = "[", [ expression, { ",", expression }, [ "," ] ], "]" ;
path        = name, { ".", word } ;

quantity    = number, [ unit ], [ tolerance ]
            | number, unit, class ;
tolerance   = plus_minus, unsigned, [ unit ]
            | "(", deviation, "/", deviation, [ unit ], ")" ;
deviation   = number | "+", unsigned ;
class       = letter, [ letter ], digit, [ digit ] ;                      (* ISO 286: H7, js6 *)

plus_minus  = "±" | "+-" | "+/-" ;
minus       = "-" | "−" ;
times       = "*" | "·" | "⋅" | "×" ;
at_least    = ">=" | "≥" ;
at_most     = "<=" | "≤" ;
arrow       = "->" | "→" ;

number      = [ minus ], unsigned ;
unsigned    = ( digits, [ ".", digits ] | ".", digits ), [ exponent ]
            | [ plain, "-" ], plain, "/", plain ;                         (* 2-1/2 and 3/4, without blanks *)
digits      = digit, { digit | "_" } ;
plain       = digit, { digit } ;
exponent    = ( "e" | "E" ), [ "+" | "-" ], plain ;
date        = 4 * digit, "-", 2 * digit, "-", 2 * digit ;
text        = '"', { ? any character but the quote and line ends ? }, '"' ;
unit        = ( name | "1/", word ), { ( times | "/" ), word | "^", [ minus ], digits, [ ".", digits ] } ;
name        = word - joining ;
joining     = {joining} ;
word        = first, { further } ;
first       = letter | "_" | "%" | "°" | "µ" | "μ" | "℃" | "℉" | "Δ" ;
further     = letter | digit | "_" | "°" | "µ" | "μ" | "²" | "³" | "⁴" | "⁻" | "¹" ;
letter      = ? a letter, A to Z or a to z ? ;
digit       = "0" | "1" | "2" | "3" | "4" | "5" | "6" | "7" | "8" | "9" ;
newline     = ? line end ? ;

comment     = "//", { ? any character but line ends ? } ;
blank       = " " | ? tab ? | ? no-break space ? | ? byte order mark ? ;
"#;

/// The reference grammar with these words of kinds and functions in it.
pub fn ebnf(kinds: &[&str], functions: &[&str]) -> String {
    let joining: Vec<&str> = joining().collect();
    let items: Vec<&str> = of_sort(Sort::Item).collect();
    let prepositions: Vec<&str> = of_sort(Sort::Preposition).collect();
    let modifiers: Vec<&str> = of_sort(Sort::Modifier).collect();
    RULES
        .replace("{nesting}", &MAX_NESTING.to_string())
        .replace("{items}", &alternatives(&items))
        .replace("{kinds}", &alternatives(kinds))
        .replace("{functions}", &alternatives(functions))
        .replace("{joining}", &alternatives(&joining))
        .replace("{prepositions}", &alternatives(&prepositions))
        .replace("{modifiers}", &alternatives(&modifiers))
}

/// Words as alternatives, on further lines where there are many.
fn alternatives(words: &[&str]) -> String {
    let mut out = String::new();
    let mut width = 0;
    for (n, word) in words.iter().enumerate() {
        if n > 0 {
            if width + word.len() > 90 {
                out.push_str("\n            |");
                width = 0;
            } else {
                out.push_str(" |");
            }
            out.push(' ');
        }
        out.push('"');
        out.push_str(word);
        out.push('"');
        width += word.len() + 5;
    }
    out
}
