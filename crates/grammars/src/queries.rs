//! Word lists inside the queries of tree-sitter.
//!
//! A query cannot read a file, so a list stands in it as `(#any-of? @capture "a" "b")`. Such a list follows a comment
//! `; words: NAME`, and this module keeps it; all else in a query is written by hand.

use crate::words::Words;

/// The mark before a list.
const MARK: &str = "; words: ";

/// A query with its lists as the tables have them.
///
/// # Errors
///
/// A mark that names no list, or that no list follows: the message says which line.
pub fn renew(query: &str, words: &Words) -> Result<String, String> {
    let mut out = String::new();
    let mut lines = query.lines().enumerate();
    while let Some((n, line)) = lines.next() {
        out.push_str(line);
        out.push('\n');
        let Some(name) = line.trim().strip_prefix(MARK) else {
            continue;
        };
        let list = words
            .list(name)
            .ok_or_else(|| format!("line {}: there is no list `{name}`", n + 1))?;
        let (at, head) = lines
            .next()
            .ok_or_else(|| format!("line {}: no list follows", n + 1))?;
        let start = head.find("any-of? @").ok_or_else(|| {
            format!(
                "line {}: expected `(#any-of? @capture` or `(#not-any-of? @capture`",
                at + 1
            )
        })?;
        let capture_end = head[start..]
            .find('@')
            .map(|c| start + c)
            .and_then(|c| head[c..].find([' ', ')']).map(|e| c + e))
            .unwrap_or(head.trim_end().len());
        let indent = head.len() - head.trim_start().len();
        out.push_str(&head[..capture_end]);
        out.push('\n');
        // The old list goes, up to the line that closes it.
        if !head.trim_end().ends_with(')') {
            for (_, old) in lines.by_ref() {
                if old.trim_end().ends_with(')') {
                    break;
                }
            }
        }
        let mut row = String::new();
        for word in list {
            let quoted = format!("\"{word}\"");
            if row.len() + quoted.len() > 100 {
                out.push_str(&format!("{}{}\n", " ".repeat(indent + 2), row.trim_end()));
                row.clear();
            }
            row.push_str(&quoted);
            row.push(' ');
        }
        out.push_str(&format!("{}{}))\n", " ".repeat(indent + 2), row.trim_end()));
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::words;

    #[test]
    fn a_list_is_put_in_and_stays_when_put_in_again() {
        let words = words();
        let text = "(a) @b\n((kind) @k\n  ; words: kinds\n  (#any-of? @k \"old\"))\n; end\n";
        let once = renew(text, &words).unwrap();
        assert!(
            once.contains("\"impeller\"") && !once.contains("old"),
            "{once}"
        );
        assert!(once.starts_with("(a) @b\n((kind) @k\n  ; words: kinds\n  (#any-of? @k\n"));
        assert!(once.ends_with("))\n; end\n"), "{once}");
        assert_eq!(renew(&once, &words).unwrap(), once);
    }

    #[test]
    fn a_mark_without_a_list_is_an_error() {
        let words = words();
        assert_eq!(
            renew("; words: colours\n", &words),
            Err("line 1: there is no list `colours`".to_owned())
        );
        assert!(renew("; words: kinds\n", &words).is_err());
        assert!(renew("; words: kinds\n(node)\n", &words).is_err());
    }
}
