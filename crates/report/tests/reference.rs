//! The checked-in reference page and the project file's schema are those the tables give. `CUTWATER_UPDATE=1` renews it; read the difference.

use std::path::Path;

#[test]
fn the_reference_page_is_current() {
    current("reference.md", cutwater_report::reference::markdown());
}

#[test]
fn the_schema_of_the_project_file_is_current() {
    let schema = serde_json::to_string_pretty(&cutwater_report::project_file::schema());
    current(
        "cutwater-toml.schema.json",
        schema.expect("a schema is text") + "\n",
    );
}

fn current(name: &str, want: String) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../grammar")
        .join(name);
    if std::env::var_os("CUTWATER_UPDATE").is_some() {
        std::fs::write(&path, &want).expect("the page can be written");
        return;
    }
    let have = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        have == want,
        "grammar/{name} is behind the tables; run the tests with CUTWATER_UPDATE=1 and read the difference"
    );
}
