//! Reads the notation of ISO/IEC 14977 as far as the reference grammar uses it, and puts it to two uses: a recogniser over
//! the parser's prepared tokens, and a writer of sentences.
//!
//! Both take rules as they stand. What the grammar's head says in prose (which word is a field's name, which is a unit) the
//! recogniser takes from the kinds of the tokens, and the writer keeps by laying out one entry and one row a line.

#![allow(dead_code)]

use cutwater_syntax::prepare::Tok;
use cutwater_syntax::token::T;
use std::collections::HashMap;
use std::rc::Rc;

/// A rule's right side, or a part of it.
#[derive(Clone, Debug, PartialEq)]
pub enum Rule {
    /// Text to be found as it stands.
    Literal(String),
    /// Another rule.
    Name(String),
    /// Described in words.
    Special(String),
    /// One after another.
    Sequence(Vec<Rule>),
    /// One of several.
    Choice(Vec<Rule>),
    /// Once or not.
    Option(Box<Rule>),
    /// Any number of times.
    Repeat(Box<Rule>),
    /// That many times.
    Times(usize, Box<Rule>),
    /// The first, where it is not the second.
    Except(Box<Rule>, Box<Rule>),
}

/// A grammar: rules by name.
#[derive(Debug)]
pub struct Grammar {
    /// In the order of the file.
    pub order: Vec<String>,
    /// By name.
    pub rules: HashMap<String, Rule>,
}

#[derive(Clone, Debug, PartialEq)]
enum Piece {
    Literal(String),
    Special(String),
    Name(String),
    Number(usize),
    Sign(char),
}

fn pieces(text: &str) -> Result<Vec<Piece>, String> {
    let mut out = Vec::new();
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        if rest.starts_with("(*") {
            let end = rest.find("*)").ok_or("a comment is not closed")?;
            rest = &rest[end + 2..];
        } else if c.is_whitespace() {
            rest = &rest[c.len_utf8()..];
        } else if matches!(c, '"' | '\'' | '?') {
            let end = rest[1..]
                .find(c)
                .ok_or_else(|| format!("{c} is not closed"))?;
            let inner = rest[1..=end].to_owned();
            out.push(if c == '?' {
                Piece::Special(inner.trim().to_owned())
            } else {
                Piece::Literal(inner)
            });
            rest = &rest[end + 2..];
        } else if c.is_ascii_alphabetic() {
            let end = rest
                .find(|c: char| !c.is_ascii_alphanumeric() && c != '_')
                .unwrap_or(rest.len());
            out.push(Piece::Name(rest[..end].to_owned()));
            rest = &rest[end..];
        } else if c.is_ascii_digit() {
            let end = rest
                .find(|c: char| !c.is_ascii_digit())
                .unwrap_or(rest.len());
            out.push(Piece::Number(
                rest[..end].parse().map_err(|_| "a number is too long")?,
            ));
            rest = &rest[end..];
        } else if "=;,|[]{}()-*".contains(c) {
            out.push(Piece::Sign(c));
            rest = &rest[1..];
        } else {
            return Err(format!("{c:?} means nothing in this notation"));
        }
    }
    Ok(out)
}

struct Reader {
    pieces: Vec<Piece>,
    at: usize,
}

impl Reader {
    fn sign(&mut self, c: char) -> bool {
        let there = self.pieces.get(self.at) == Some(&Piece::Sign(c));
        self.at += usize::from(there);
        there
    }

    fn expect(&mut self, c: char) -> Result<(), String> {
        if self.sign(c) {
            return Ok(());
        }
        Err(format!(
            "expected {c:?}, found {:?}",
            self.pieces.get(self.at)
        ))
    }

    fn choice(&mut self) -> Result<Rule, String> {
        let mut of = vec![self.sequence()?];
        while self.sign('|') {
            of.push(self.sequence()?);
        }
        Ok(if of.len() == 1 {
            of.remove(0)
        } else {
            Rule::Choice(of)
        })
    }

    fn sequence(&mut self) -> Result<Rule, String> {
        let mut of = vec![self.term()?];
        while self.sign(',') {
            of.push(self.term()?);
        }
        Ok(if of.len() == 1 {
            of.remove(0)
        } else {
            Rule::Sequence(of)
        })
    }

    fn term(&mut self) -> Result<Rule, String> {
        let first = self.factor()?;
        if self.sign('-') {
            return Ok(Rule::Except(Box::new(first), Box::new(self.factor()?)));
        }
        Ok(first)
    }

    fn factor(&mut self) -> Result<Rule, String> {
        let piece = self.pieces.get(self.at).cloned();
        self.at += 1;
        Ok(match piece {
            Some(Piece::Literal(t)) => Rule::Literal(t),
            Some(Piece::Special(t)) => Rule::Special(t),
            Some(Piece::Name(n)) => Rule::Name(n),
            Some(Piece::Number(n)) => {
                self.expect('*')?;
                Rule::Times(n, Box::new(self.factor()?))
            }
            Some(Piece::Sign('[')) => {
                let inner = self.choice()?;
                self.expect(']')?;
                Rule::Option(Box::new(inner))
            }
            Some(Piece::Sign('{')) => {
                let inner = self.choice()?;
                self.expect('}')?;
                Rule::Repeat(Box::new(inner))
            }
            Some(Piece::Sign('(')) => {
                let inner = self.choice()?;
                self.expect(')')?;
                inner
            }
            other => return Err(format!("expected a term, found {other:?}")),
        })
    }
}

impl Grammar {
    /// Reads a grammar. Says what is wrong with it, a name without a rule and a rule given twice too.
    pub fn read(text: &str) -> Result<Self, String> {
        let mut reader = Reader {
            pieces: pieces(text)?,
            at: 0,
        };
        let mut grammar = Grammar {
            order: Vec::new(),
            rules: HashMap::new(),
        };
        while reader.at < reader.pieces.len() {
            let Some(Piece::Name(name)) = reader.pieces.get(reader.at).cloned() else {
                return Err(format!(
                    "expected a rule, found {:?}",
                    reader.pieces.get(reader.at)
                ));
            };
            reader.at += 1;
            let rule = reader
                .expect('=')
                .and_then(|()| reader.choice())
                .and_then(|r| reader.expect(';').map(|()| r))
                .map_err(|e| format!("in rule {name}: {e}"))?;
            grammar.order.push(name.clone());
            if grammar.rules.insert(name.clone(), rule).is_some() {
                return Err(format!("rule {name} is given twice"));
            }
        }
        for (name, rule) in &grammar.rules {
            for used in names(rule) {
                if !grammar.rules.contains_key(&used) {
                    return Err(format!("rule {name} uses {used}, which has no rule"));
                }
            }
        }
        Ok(grammar)
    }
}

/// All rules that a rule names.
pub fn names(rule: &Rule) -> Vec<String> {
    match rule {
        Rule::Name(n) => vec![n.clone()],
        Rule::Sequence(of) | Rule::Choice(of) => of.iter().flat_map(names).collect(),
        Rule::Option(r) | Rule::Repeat(r) | Rule::Times(_, r) => names(r),
        Rule::Except(a, b) => [names(a), names(b)].concat(),
        Rule::Literal(_) | Rule::Special(_) => Vec::new(),
    }
}

/// Rules that one token stands for, so that the recogniser does not look inside.
const TOKENS: &[&str] = &[
    "name",
    "word",
    "number",
    "unsigned",
    "date",
    "text",
    "unit",
    "class",
    "newline",
    "minus",
    "times",
    "at_least",
    "at_most",
    "arrow",
    "plus_minus",
];

/// Whether tokens, prepared from one chunk, are a sentence of a rule.
pub struct Recogniser<'g, 't> {
    grammar: &'g Grammar,
    toks: &'t [Tok<'t>],
    /// Ends of each rule at each place, as far as they are known.
    known: HashMap<(&'g str, usize), Rc<Vec<usize>>>,
}

impl<'g, 't> Recogniser<'g, 't> {
    /// For these tokens.
    pub fn new(grammar: &'g Grammar, toks: &'t [Tok<'t>]) -> Self {
        Self {
            grammar,
            toks,
            known: HashMap::new(),
        }
    }

    /// Whether all tokens together are a sentence of the rule of this name.
    pub fn accepts(&mut self, name: &'g str) -> bool {
        self.named(name, 0).contains(&self.toks.len())
    }

    fn named(&mut self, name: &'g str, at: usize) -> Rc<Vec<usize>> {
        if TOKENS.contains(&name) {
            return Rc::new(self.token(name, at).then_some(at + 1).into_iter().collect());
        }
        if let Some(ends) = self.known.get(&(name, at)) {
            return Rc::clone(ends);
        }
        // No rule begins with itself, so what is being looked for is never asked for on the way.
        let grammar = self.grammar;
        let ends = Rc::new(self.ends(&grammar.rules[name], at));
        self.known.insert((name, at), Rc::clone(&ends));
        ends
    }

    /// Where what `rule` reads from the token `at` may end.
    fn ends(&mut self, rule: &'g Rule, at: usize) -> Vec<usize> {
        match rule {
            Rule::Literal(text) => self
                .literal(text, at)
                .then_some(at + 1)
                .into_iter()
                .collect(),
            Rule::Name(name) => self.named(name, at).to_vec(),
            Rule::Sequence(of) => {
                let mut places = vec![at];
                for part in of {
                    let mut next = Vec::new();
                    for p in places {
                        next.extend(self.ends(part, p));
                    }
                    next.sort_unstable();
                    next.dedup();
                    places = next;
                }
                places
            }
            Rule::Choice(of) => {
                let mut out: Vec<usize> = of.iter().flat_map(|r| self.ends(r, at)).collect();
                out.sort_unstable();
                out.dedup();
                out
            }
            Rule::Option(inner) => {
                let mut out = self.ends(inner, at);
                out.push(at);
                out
            }
            Rule::Repeat(inner) => {
                let mut seen = vec![at];
                let mut fresh = vec![at];
                while let Some(p) = fresh.pop() {
                    for end in self.ends(inner, p) {
                        if !seen.contains(&end) {
                            seen.push(end);
                            fresh.push(end);
                        }
                    }
                }
                seen
            }
            Rule::Except(inner, but) => {
                let but = self.ends(but, at);
                let mut out = self.ends(inner, at);
                out.retain(|end| !but.contains(end));
                out
            }
            Rule::Special(_) | Rule::Times(..) => unreachable!("only inside rules that are tokens"),
        }
    }

    fn literal(&self, text: &str, at: usize) -> bool {
        self.toks.get(at).is_some_and(|t| {
            // A word of the grammar that names a field is a name.
            t.text == text && !matches!(t.kind, T::Text | T::Field | T::Unit)
        })
    }

    fn token(&self, name: &str, at: usize) -> bool {
        let Some(t) = self.toks.get(at) else {
            return false;
        };
        let negative = t.text.starts_with(['-', '−']);
        match name {
            "name" => t.kind == T::Word && !cutwater_syntax::words::joins(t.text),
            "word" => match t.kind {
                // After the point of a path, and only on its line.
                T::Word | T::Unit => at == 0 || self.toks[at - 1].kind != T::Dot || !t.first,
                // Before "=" alone.
                T::Field => self.toks.get(at + 1).is_some_and(|n| n.kind == T::Equals),
                _ => false,
            },
            "number" => matches!(t.kind, T::Number | T::Fraction),
            "unsigned" => matches!(t.kind, T::Number | T::Fraction) && !negative,
            "date" => t.kind == T::Date,
            "text" => t.kind == T::Text,
            "unit" => t.kind == T::Unit,
            "class" => {
                t.kind == T::Word && !t.first && cutwater_syntax::parser::looks_like_class(t.text)
            }
            "newline" => t.kind == T::Newline,
            "minus" => t.kind == T::Minus,
            "times" => t.kind == T::Star,
            "at_least" => t.kind == T::AtLeast,
            "at_most" => t.kind == T::AtMost,
            "arrow" => t.kind == T::Arrow,
            "plus_minus" => t.kind == T::PlusMinus,
            _ => false,
        }
    }
}

/// Rules whose text has no blanks inside.
const LEXICAL: &[&str] = &[
    "number", "unsigned", "digits", "plain", "exponent", "date", "text", "unit", "class", "name",
    "word", "first", "further", "letter", "digit", "code", "comment", "blank",
];

/// Writes sentences: a token a blank apart from the next, an entry and a row a line.
pub struct Sentences<'g, C: FnMut(usize) -> usize> {
    grammar: &'g Grammar,
    /// Gives a number below its argument; 0 is the plainest choice.
    pick: C,
    out: String,
    /// How often each rule has been used.
    pub used: HashMap<String, usize>,
    depth: usize,
    /// How far in the next line begins.
    indent: usize,
}

impl<'g, C: FnMut(usize) -> usize> Sentences<'g, C> {
    /// A writer that chooses by `pick`.
    pub fn new(grammar: &'g Grammar, pick: C) -> Self {
        Self {
            grammar,
            pick,
            out: String::new(),
            used: HashMap::new(),
            depth: 0,
            indent: 0,
        }
    }

    /// One sentence of a rule.
    pub fn write(&mut self, name: &str) -> String {
        self.out.clear();
        self.depth = 0;
        self.indent = 0;
        self.named(name);
        std::mem::take(&mut self.out)
    }

    fn line(&mut self) {
        self.out.push('\n');
        self.out.push_str(&"    ".repeat(self.indent));
    }

    fn named(&mut self, name: &str) {
        *self.used.entry(name.to_owned()).or_default() += 1;
        if LEXICAL.contains(&name) {
            let token = self.lexical_token(name);
            self.out.push_str(&token);
            self.out.push(' ');
            return;
        }
        let grammar = self.grammar;
        match name {
            // Rows, entries and items stand on lines of their own.
            "newline" => return self.line(),
            "item" | "entry" => self.line(),
            "block" | "rows" => self.indent += 1,
            _ => {}
        }
        self.depth += 1;
        self.rule(&grammar.rules[name]);
        self.depth -= 1;
        match name {
            "item" => self.out.push('\n'),
            "block" | "rows" => self.indent -= 1,
            _ => {}
        }
    }

    fn rule(&mut self, rule: &Rule) {
        match rule {
            Rule::Literal(text) => {
                self.out.push_str(text);
                self.out.push(' ');
            }
            Rule::Name(name) => self.named(name),
            Rule::Sequence(of) => of.iter().for_each(|r| self.rule(r)),
            Rule::Choice(of) => {
                // Far down the plainest is taken, so that every sentence ends: the one that leads least far.
                let n = if self.depth > 16 {
                    self.plainest(of)
                } else {
                    (self.pick)(of.len())
                };
                self.rule(&of[n]);
            }
            Rule::Option(inner) => {
                let of = if self.depth < 8 { 2 } else { 4 };
                if self.depth <= 18 && (self.pick)(of) == 1 {
                    self.rule(inner);
                }
            }
            Rule::Repeat(inner) => {
                if self.depth > 18 {
                    return;
                }
                // Fewer the further down, for an expression is some rules deep before it holds a number.
                let most = if self.depth < 8 { 5 } else { 3 };
                for _ in 0..(self.pick)(most).saturating_sub(1) {
                    self.rule(inner);
                }
            }
            Rule::Except(..) => {
                let mut token = String::new();
                self.lexical(rule, &mut token);
                self.out.push_str(&token);
                self.out.push(' ');
            }
            Rule::Times(..) | Rule::Special(_) => unreachable!("only inside rules that are tokens"),
        }
    }

    fn plainest(&self, of: &[Rule]) -> usize {
        (0..of.len())
            .min_by_key(|n| self.height(&of[*n], 0))
            .unwrap_or(0)
    }

    /// How many rules deep the shallowest sentence goes.
    fn height(&self, rule: &Rule, depth: usize) -> usize {
        if depth > 12 {
            return 100;
        }
        match rule {
            Rule::Literal(_) | Rule::Special(_) | Rule::Option(_) | Rule::Repeat(_) => 0,
            Rule::Name(n) if LEXICAL.contains(&n.as_str()) || n == "newline" => 0,
            Rule::Name(n) => 1 + self.height(&self.grammar.rules[n], depth + 1),
            Rule::Sequence(of) => of.iter().map(|r| self.height(r, depth)).max().unwrap_or(0),
            Rule::Choice(of) => of.iter().map(|r| self.height(r, depth)).min().unwrap_or(0),
            Rule::Times(_, r) | Rule::Except(r, _) => self.height(r, depth),
        }
    }

    /// One token of a lexical rule.
    fn lexical_token(&mut self, name: &str) -> String {
        loop {
            let mut token = String::new();
            let grammar = self.grammar;
            self.lexical(&grammar.rules[name], &mut token);
            // What the head of the grammar says in prose: a number must be computable, and a code is a name.
            let number = matches!(name, "number" | "unsigned");
            if !number || cutwater_syntax::parser::parse_number(&token).is_some() {
                return token;
            }
        }
    }

    fn lexical(&mut self, rule: &Rule, out: &mut String) {
        let grammar = self.grammar;
        match rule {
            Rule::Literal(text) => out.push_str(text),
            Rule::Name(name) => self.lexical(&grammar.rules[name], out),
            Rule::Sequence(of) => of.iter().for_each(|r| self.lexical(r, out)),
            Rule::Choice(of) => {
                let n = (self.pick)(of.len());
                self.lexical(&of[n], out);
            }
            Rule::Option(inner) => {
                if (self.pick)(2) == 1 {
                    self.lexical(inner, out);
                }
            }
            Rule::Repeat(inner) => {
                for _ in 0..(self.pick)(4) {
                    self.lexical(inner, out);
                }
            }
            Rule::Times(n, inner) => (0..*n).for_each(|_| self.lexical(inner, out)),
            Rule::Except(inner, but) => loop {
                let before = out.len();
                self.lexical(inner, out);
                if !literals(grammar, but).contains(&out[before..].to_owned()) {
                    break;
                }
                out.truncate(before);
            },
            Rule::Special(words) => {
                let of: Vec<char> = match words.as_str() {
                    "a letter, A to Z or a to z" => ('a'..='z').chain('A'..='Z').collect(),
                    "any character but the quote and line ends" => {
                        "aZ 0/\\{};=é°->'".chars().collect()
                    }
                    other => panic!("the writer does not know what is meant by {other:?}"),
                };
                out.push(of[(self.pick)(of.len())]);
            }
        }
    }
}

/// All texts that a rule of literals allows.
fn literals(grammar: &Grammar, rule: &Rule) -> Vec<String> {
    match rule {
        Rule::Literal(t) => vec![t.clone()],
        Rule::Name(n) => literals(grammar, &grammar.rules[n]),
        Rule::Choice(of) => of.iter().flat_map(|r| literals(grammar, r)).collect(),
        _ => Vec::new(),
    }
}
