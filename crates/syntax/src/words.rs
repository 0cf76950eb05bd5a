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
}

macro_rules! words {
    ($($text:literal $key:ident $sort:ident $joins:literal $value:literal $doc:literal)*) => {
        /// Which word it is.
        #[derive(Clone, Copy, PartialEq, Eq, Debug)]
        pub enum Key {
            /// A word the grammar does not know: a name.
            Other,
            $(#[doc = $doc] $key,)*
        }

        /// All words of the grammar.
        pub const WORDS: &[Word] = &[
            $(Word { text: $text, key: Key::$key, sort: Sort::$sort, joins: $joins, takes_value: $value },)*
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
    //         which    what it does  joins  a value follows
    "use"      Use      Item          false  false  "`use \"path\" as name`"
    "let"      Let      Item          false  false  "`let name = value`"
    "require"  Require  Item          false  true   "`require value >= value`"
    "accept"   Accept   Item          false  false  "`accept CODE because \"…\"`; begins an entry too."
    "hold"     Hold     Entry         false  false  "`hold path = value`"
    "at"       At       Preposition   true   true   "`1250 gpm at 150 psi`"
    "per"      Per      Preposition   true   true   "`2 psi per 100 ft`"
    "rise"     Rise     Modifier      true   true   "`rise 8 ft`"
    "fall"     Fall     Modifier      true   true   "`fall 8 ft`"
    "lines"    Lines    Modifier      true   true   "`lines 2`"
    "within"   Within   Rule          true   true   "`within lo .. hi`"
    "is"       Is       Rule          true   true   "`is labyrinth`"
    "not"      Not      Rule          false  true   "`is not labyrinth`"
    "as"       As       Link          true   false  "`use \"path\" as name`"
    "like"     Like     Link          true   false  "`pump spare like main`"
    "of"       Of       Link          true   true   "`20 ft of hose`, `test annual of main`"
    "because"  Because  Link          true   false  "`because \"…\"`"
    "on"       On       Link          false  false  "`accept CODE on place`"
    "until"    Until    Link          true   false  "`until 2027-03-31`"
    "for"      For      Link          false  false  "`for every ring r`"
    "every"    Every    Link          false  false  "`for every ring r`"
    "where"    Where    Link          true   true   "`where r.form is labyrinth`"
    "and"      And      Link          true   true   "`where … and …`"
    "to"       To       Link          true   false  "Joins, but no rule takes it yet."
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
