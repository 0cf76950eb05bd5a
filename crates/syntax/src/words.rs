//! The words the grammar knows, each once: parser, formatter, splitter and the grammars for other readers take them
//! from the table here.
//!
//! Words of kinds, fields, units and functions are not here: they are looked up by whoever knows their meaning.

/// What a word does.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sort {
    /// Begins an item: `use`, `let`.
    Item,
    /// Begins an entry of a block: `hold`.
    Entry,
    /// Joins parts of a value: `at`, `per`.
    Preposition,
    /// Says more about a station of a chain: `rise`.
    Modifier,
    /// Says what must hold: `within`, `is`.
    Rule,
    /// Links the parts of an item: `like`, `of`, `because`.
    Link,
}

/// One word of the grammar.
#[derive(Clone, Copy, Debug)]
pub struct Word {
    /// As written.
    pub text: &'static str,
    /// Which it is.
    pub key: Key,
    /// What it does.
    pub sort: Sort,
    /// It joins what stands before it, and so is never a unit or a name, but where a field's or a member's name stands.
    pub joins: bool,
    /// A value or a path comes next, so that a bracket behind it opens no call.
    pub takes_value: bool,
    /// How it is written, with what belongs to it; empty where it stands nowhere.
    pub form: &'static str,
    /// What it means.
    pub doc: &'static str,
}

macro_rules! words {
    ($($text:literal $key:ident $sort:ident $joins:literal $value:literal $form:literal $doc:literal)*) => {
        /// Which word it is.
        #[derive(Clone, Copy, PartialEq, Eq, Debug)]
        pub enum Key {
            /// A word the grammar does not know: a name.
            Other,
            $(#[doc = $doc] $key,)*
        }

        /// All words of the grammar.
        pub const WORDS: &[Word] = &[
            $(Word { text: $text, key: Key::$key, sort: Sort::$sort, joins: $joins, takes_value: $value, form: $form, doc: $doc },)*
        ];

        impl Key {
            /// The key of a word.
            pub fn of(text: &str) -> Self {
                match text {
                    $($text => Key::$key,)*
                    _ => Key::Other,
                }
            }

            /// Its entry in the table; `None` for [`Key::Other`].
            pub const fn word(self) -> Option<&'static Word> {
                if matches!(self, Key::Other) {
                    return None;
                }
                Some(&WORDS[self as usize - 1])
            }
        }
    };
}

words! {
    //         which    what it does  joins  a value follows; how it is written; what it means
    "use"      Use      Item          false  false
        "use \"PATH\" as NAME"
        "Brings in a file of the workspace: what it declares is then named as `NAME.…`. The path goes from this file and stays inside the workspace."
    "let"      Let      Item          false  false
        "let NAME = VALUE"
        "Names a value; with parameters behind the name, `let gap(bore, hub) = bore - hub`, a function."
    "require"  Require  Item          false  true
        "require VALUE >= VALUE because \"…\""
        "A rule of the spec's own, checked on every change; with `for every` it looks at each declaration of a kind."
    "accept"   Accept   Item          false  false
        "accept CODE on NAME because \"…\" until DATE"
        "Lets a finding stand, with the reason and perhaps a last day; in a declaration it is about that alone."
    "hold"     Hold     Entry         false  false
        "hold PATH = VALUE"
        "In a duty: what the operator keeps at this value, as a nozzle's pressure or the engine's speed."
    "at"       At       Preposition   true   true
        "VALUE at VALUE"
        "Joins a value to the one it holds at: `1250 gpm at 150 psi`; after a table's name, the speed its rows were taken at."
    "per"      Per      Preposition   true   true
        "VALUE per VALUE"
        "A loss over a length: `15.5 psi per 100 ft at 100 gpm`."
    "rise"     Rise     Modifier      true   true
        "rise HEIGHT"
        "In a lay: the far end of this hose is that much higher."
    "fall"     Fall     Modifier      true   true
        "fall HEIGHT"
        "In a lay: the far end of this hose is that much lower."
    "lines"    Lines    Modifier      true   true
        "lines COUNT"
        "In a lay: that many equal hoses side by side."
    "within"   Within   Rule          true   true
        "within LOW .. HIGH"
        "Asks that a value is inside a range, its whole tolerance with it."
    "is"       Is       Rule          true   true
        "is WORD"
        "Asks which word, text, declaration, date or count a value is; `is given` asks whether it is there at all."
    "not"      Not      Rule          false  true
        "is not WORD"
        "Turns `is` round."
    "as"       As       Link          true   false
        "use \"PATH\" as NAME"
        "Says by which name a file that is used goes here."
    "like"     Like     Link          true   false
        "KIND NAME like PATH"
        "Takes over every field of another declaration of the kind; what is written here comes first. A pattern's parameters are filled in behind it: `like wear_ring(hub = 5.497 in)`."
    "of"       Of       Link          true   true
        "LENGTH of PATH, KIND NAME of PATH"
        "A length of hose; or what a declaration belongs to, as a test belongs to its pump."
    "because"  Because  Link          true   false
        "because \"…\""
        "The reason for a rule or an acceptance; findings repeat it."
    "on"       On       Link          false  false
        "accept CODE on NAME"
        "Which value or declaration the accepted finding is about."
    "until"    Until    Link          true   false
        "until DATE"
        "The last day of an acceptance; after it the finding counts again."
    "for"      For      Link          false  false
        "require for every KIND NAME: …"
        "Begins a rule over every declaration of a kind."
    "every"    Every    Link          false  false
        "require for every KIND NAME: …"
        "Every declaration of the kind in this file and the files it uses, or in what stands after `of`."
    "where"    Where    Link          true   true
        "where CONDITION and CONDITION"
        "Leaves out of a rule the declarations for which the conditions do not hold."
    "and"      And      Link          true   true
        "where CONDITION and CONDITION"
        "Joins conditions that must all hold."
    "to"       To       Link          true   false
        ""
        "Joins, but no rule takes it yet."
}

impl Key {
    /// Whether it joins what stands before it, and so may not be a name.
    pub const fn joins(self) -> bool {
        match self.word() {
            Some(w) => w.joins,
            None => false,
        }
    }

    /// What the word does; `None` for a name.
    pub const fn sort(self) -> Option<Sort> {
        match self.word() {
            Some(w) => Some(w.sort),
            None => None,
        }
    }
}

/// The words of one sort, in the order of the table.
pub fn of_sort(sort: Sort) -> impl Iterator<Item = &'static str> {
    WORDS.iter().filter(move |w| w.sort == sort).map(|w| w.text)
}

/// The words that join what stands before them.
pub fn joining() -> impl Iterator<Item = &'static str> {
    WORDS.iter().filter(|w| w.joins).map(|w| w.text)
}

/// Whether a word joins what stands before it.
pub fn joins(word: &str) -> bool {
    Key::of(word).joins()
}

/// Whether an item that is no declaration begins with this word.
pub fn begins_item(word: &str) -> bool {
    Key::of(word).sort() == Some(Sort::Item)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_word_is_found_where_it_stands() {
        for w in WORDS {
            assert_eq!(Key::of(w.text), w.key);
            assert_eq!(w.key.word().map(|found| found.text), Some(w.text));
        }
        assert!(Key::Other.word().is_none());
        assert!(joins("at") && !joins("hold") && !joins("bore"));
        assert!(begins_item("use") && !begins_item("hold") && !begins_item("ring"));
    }
}
