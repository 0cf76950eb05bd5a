//! A fault in the tool and an interrupt, each with its own exit code.
//!
//! A panic anywhere is caught: the user is asked to report it and no backtrace is shown unless
//! `RUST_BACKTRACE` asks for one. An interrupt ends the process at once, but never in the middle of
//! replacing a file.

use crate::exit;
use std::any::Any;
use std::backtrace::{Backtrace, BacktraceStatus};
use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Mutex, MutexGuard};

/// Where the last panic was, and the way to it where it was asked for.
static LAST: Mutex<Option<String>> = Mutex::new(None);

/// Held while a file is being replaced.
static REPLACING: Mutex<()> = Mutex::new(());

/// Runs the tool, turning a panic into the exit code for a fault.
pub fn run(work: impl FnOnce() -> u8) -> u8 {
    std::panic::set_hook(Box::new(|info| {
        let mut text = info
            .location()
            .map_or_else(String::new, |l| format!("{}:{}", l.file(), l.line()));
        let trace = Backtrace::capture();
        if trace.status() == BacktraceStatus::Captured {
            text.push_str(&format!("\n{trace}"));
        }
        if let Ok(mut last) = LAST.lock() {
            *last = Some(text);
        }
    }));
    match catch_unwind(AssertUnwindSafe(work)) {
        Ok(code) => code,
        Err(payload) => {
            let text = fault(&*payload);
            let _ = std::io::stderr().lock().write_all(text.as_bytes());
            exit::FAULT
        }
    }
}

/// What a user is told about a fault.
fn fault(payload: &(dyn Any + Send)) -> String {
    let what = payload
        .downcast_ref::<&str>()
        .map(|s| (*s).to_owned())
        .or_else(|| payload.downcast_ref::<String>().cloned())
        .unwrap_or_else(|| "no message".to_owned());
    let place = LAST.lock().ok().and_then(|l| l.clone()).unwrap_or_default();
    format!(
        "cutwater {}: this is a fault in the tool, not in your spec.\n  {what}\n  at {place}\nPlease report it together with the spec it happened on and the command that was run. Nothing it printed before this should be relied on.\n",
        env!("CARGO_PKG_VERSION")
    )
}

/// Lets an interrupt (Ctrl-C) end the process with the exit code for it.
pub fn end_on_interrupt() {
    // Where no handler can be set the system's own way of ending stays in force.
    let _ = ctrlc::set_handler(|| {
        let _wait = replacing();
        std::process::exit(i32::from(exit::INTERRUPTED));
    });
}

/// Holds interrupts off while a file is being replaced.
pub fn replacing() -> MutexGuard<'static, ()> {
    REPLACING
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_the_exit_code_for_a_fault_and_is_worded_for_the_user() {
        assert_eq!(run(|| 7), 7);
        assert_eq!(run(|| panic!("a curve without points")), exit::FAULT);
        let text = fault(&"a curve without points");
        assert!(text.contains("a curve without points") && text.contains("guard.rs"));
        assert!(text.contains("report it together with the spec"));
    }
}
