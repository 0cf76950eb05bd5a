//! What several tests share: the tree-sitter grammar's folder, its generator, its compiled language, and texts to try.

#![allow(dead_code)]

use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use tree_sitter::{Language, Node, Parser, Tree};
use tree_sitter_generate::{OptLevel, generate_parser_in_directory, load_grammar_file};
use tree_sitter_loader::{CompileConfig, Loader};

/// The version of the parser's tables. 14 is read by every editor in use; what 15 adds is not needed here.
const ABI: usize = 14;

/// What the generator writes, under the grammar's folder.
const GENERATED: &[&str] = &[
    "src/parser.c",
    "src/node-types.json",
    "src/tree_sitter/parser.h",
    "src/tree_sitter/alloc.h",
    "src/tree_sitter/array.h",
];

/// The project's folder.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// The folder of the tree-sitter grammar.
pub fn folder() -> PathBuf {
    root().join("grammar/tree-sitter")
}

/// Generates the parser from `src/grammar.json` into the folder `out`.
pub fn generate(out: &Path) -> Result<(), String> {
    let mut said = Vec::new();
    generate_parser_in_directory(
        folder(),
        Some(out.join("src")),
        Some(folder().join("src/grammar.json")),
        ABI,
        None,
        None,
        true,
        OptLevel::default(),
        &mut said,
    )
    .map_err(|e| format!("the grammar does not generate: {e}"))?;
    if said.is_empty() {
        Ok(())
    } else {
        Err(format!("the generator warns: {}", said.len()))
    }
}

/// Files whose generated text is not the one checked in.
pub fn behind() -> Result<Vec<&'static str>, String> {
    let out = tempfile::tempdir().map_err(|e| e.to_string())?;
    generate(out.path())?;
    let read = |p: PathBuf| std::fs::read_to_string(p).unwrap_or_default();
    Ok(GENERATED
        .iter()
        .copied()
        .filter(|f| read(out.path().join(f)) != read(folder().join(f)))
        .collect())
}

fn json_from_js() -> Result<String, String> {
    load_grammar_file(&folder().join("grammar.js"), None)
        .map(|mut json| {
            json.push('\n');
            json
        })
        .map_err(|e| format!("grammar.js cannot be read: {e}"))
}

/// Renews everything from `grammar.js`. Needs Node.
pub fn renew_from_js() -> Result<(), String> {
    let json = json_from_js()?;
    std::fs::create_dir_all(folder().join("src")).map_err(|e| e.to_string())?;
    std::fs::write(folder().join("src/grammar.json"), json).map_err(|e| e.to_string())?;
    generate(&folder())
}

/// Whether `src/grammar.json` is what `grammar.js` gives. Needs Node.
pub fn check_js() -> Result<(), String> {
    let have = std::fs::read_to_string(folder().join("src/grammar.json")).unwrap_or_default();
    if have == json_from_js()? {
        return Ok(());
    }
    Err("grammar/tree-sitter/src is behind grammar.js; \
         run `cargo run -p cutwater-grammars --example tree_sitter` and read the difference"
        .to_owned())
}

/// Compiles the parser into a library that an editor loads.
pub fn library(file: &Path) -> Result<(), String> {
    Loader::with_parser_lib_path(std::env::temp_dir())
        .compile_parser_at_path(&folder(), file.to_owned(), &[])
        .map_err(|e| e.to_string())
}

/// The language, compiled where its sources are newer than the last library.
pub fn language() -> Language {
    static LANGUAGE: OnceLock<Language> = OnceLock::new();
    LANGUAGE
        .get_or_init(|| {
            let place =
                option_env!("CARGO_TARGET_TMPDIR").map_or_else(std::env::temp_dir, PathBuf::from);
            let src = folder().join("src");
            let headers = [PathBuf::from("joining.h")];
            Loader::with_parser_lib_path(place)
                .load_language_at_path(CompileConfig::new(&src, Some(&headers), None))
                .expect("the parser compiles and loads")
        })
        .clone()
}

/// The tree of a text.
pub fn parse(text: &str) -> Tree {
    let mut parser = Parser::new();
    parser
        .set_language(&language())
        .expect("the table's version is known");
    parser.parse(text, None).expect("there is no limit of time")
}

/// The first place that could not be read, as words for a message.
pub fn first_error(tree: &Tree, text: &str) -> Option<String> {
    let mut found = None;
    walk(tree.root_node(), &mut |node| {
        if found.is_none() && (node.is_error() || node.is_missing()) {
            let at = node.start_position();
            let line = text.lines().nth(at.row).unwrap_or("");
            found = Some(format!(
                "{} at line {}, column {}: {line:?}",
                if node.is_missing() {
                    format!("a missing {}", node.kind())
                } else {
                    "an error".to_owned()
                },
                at.row + 1,
                at.column + 1
            ));
        }
    });
    found
}

/// Visits a node and all below it, without recursion.
pub fn walk<'t>(node: Node<'t>, visit: &mut impl FnMut(Node<'t>)) {
    let mut cursor = node.walk();
    loop {
        visit(cursor.node());
        if cursor.goto_first_child() {
            continue;
        }
        while !cursor.goto_next_sibling() {
            if !cursor.goto_parent() {
                return;
            }
        }
    }
}

/// Whether the compiler's own parser reads the whole text without a slip.
pub fn is_well_formed(text: &str) -> bool {
    cutwater_syntax::split::split(text).iter().all(|c| {
        cutwater_syntax::parse_chunk(c.span.slice(text))
            .errors
            .is_empty()
    })
}

/// All `.pump` files under a folder of the project, in order, with their texts.
pub fn pump_files(under: &str) -> Vec<(PathBuf, String)> {
    fn collect(folder: &Path, out: &mut Vec<PathBuf>) {
        for entry in std::fs::read_dir(folder)
            .expect("the folder is there")
            .flatten()
        {
            let path = entry.path();
            if path.is_dir() {
                collect(&path, out);
            } else if path.extension().is_some_and(|e| e == "pump") {
                out.push(path);
            }
        }
    }
    let mut paths = Vec::new();
    collect(&root().join(under), &mut paths);
    paths.sort();
    paths
        .into_iter()
        .map(|p| {
            let text = std::fs::read_to_string(&p).expect("the file is text");
            (p, text)
        })
        .collect()
}
