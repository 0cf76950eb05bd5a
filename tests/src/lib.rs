//! Helpers shared by the end-to-end tests: the built command, and a folder of files to run it in.
//!
//! The command is built once per test program by Cargo itself, into the same build folder, so that a test
//! never runs an older one.

use assert_cmd::Command;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use tempfile::TempDir;

/// The path of the built command.
///
/// # Panics
/// If Cargo cannot build it.
pub fn binary() -> &'static Path {
    static BINARY: OnceLock<PathBuf> = OnceLock::new();
    BINARY.get_or_init(|| {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let out = std::process::Command::new(cargo)
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .args([
                "build",
                "--offline",
                "--quiet",
                "--package",
                "cutwater",
                "--bin",
                "cutwater",
                "--message-format=json",
            ])
            .stderr(std::process::Stdio::inherit())
            .output()
            .expect("cargo runs");
        assert!(out.status.success(), "the command does not build");
        String::from_utf8_lossy(&out.stdout)
            .lines()
            .filter_map(|l| serde_json::from_str::<serde_json::Value>(l).ok())
            .filter(|m| m["reason"] == "compiler-artifact")
            .find_map(|m| Some(PathBuf::from(m["executable"].as_str()?)))
            .expect("cargo names the command it built")
    })
}

/// What a run of the command gave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ran {
    /// The exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// A folder with files in it, gone when dropped.
#[derive(Debug)]
pub struct Folder {
    dir: TempDir,
}

impl Folder {
    /// A folder with these files: path and text.
    pub fn new(files: &[(&str, &str)]) -> Self {
        let folder = Self {
            dir: TempDir::new().expect("a folder for the test"),
        };
        for (path, text) in files {
            folder.write(path, text.as_bytes());
        }
        folder
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        self.dir.path()
    }

    /// Writes a file, and the folders it stands in.
    pub fn write(&self, path: &str, bytes: &[u8]) {
        let full = self.path().join(path);
        if let Some(parent) = full.parent() {
            std::fs::create_dir_all(parent).expect("a folder is made");
        }
        std::fs::write(full, bytes).expect("a file is written");
    }

    /// Reads a file.
    pub fn read(&self, path: &str) -> String {
        std::fs::read_to_string(self.path().join(path)).expect("a file is read")
    }

    /// The command, to be run here, free of settings of the surroundings.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut c = Command::new(binary());
        c.current_dir(self.path())
            .env_remove("NO_COLOR")
            .env_remove("RUST_BACKTRACE")
            .args(args);
        c
    }

    /// Runs the command here.
    pub fn run(&self, args: &[&str]) -> Ran {
        Self::ran(self.command(args))
    }

    /// Runs the command here with a text on standard input.
    pub fn run_with(&self, args: &[&str], stdin: &str) -> Ran {
        let mut c = self.command(args);
        c.write_stdin(stdin);
        Self::ran(c)
    }

    fn ran(mut c: Command) -> Ran {
        let out = c.output().expect("the command runs");
        Ran {
            code: out.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&out.stdout).into_owned(),
            err: String::from_utf8_lossy(&out.stderr).into_owned(),
        }
    }
}

/// Checks one spec, `spec.pump`.
pub fn check(text: &str) -> Ran {
    Folder::new(&[("spec.pump", text)]).run(&["check"])
}
