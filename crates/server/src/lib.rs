//! The language server: the only crate that knows the protocol.

/// Runs the language server on standard input and output until the client ends it; gives the exit code.
///
/// Placeholder for the worktree only.
pub fn run_stdio() -> i32 {
    2
}
