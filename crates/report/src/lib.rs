//! JSON and other renderings of findings and results.
