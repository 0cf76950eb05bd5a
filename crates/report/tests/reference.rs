//! The checked-in reference page is the one the tables give. `CUTWATER_UPDATE=1` renews it; read the difference.

use std::path::Path;

#[test]
fn the_reference_page_is_current() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../grammar/reference.md");
    let want = cutwater_report::reference::markdown();
    if std::env::var_os("CUTWATER_UPDATE").is_some() {
        std::fs::write(&path, &want).expect("the page can be written");
        return;
    }
    let have = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        have == want,
        "grammar/reference.md is behind the tables; run the tests with CUTWATER_UPDATE=1 and read the difference"
    );
}
