//! Notices when the process that started the server is gone, so that no server is left behind when an editor
//! dies without closing its pipes.
//!
//! On systems other than Unix the end of standard input is what ends the server.

use crate::gate::Life;
use std::sync::Arc;
use std::time::Duration;

/// How often it looks.
const EVERY: Duration = Duration::from_secs(1);

/// Watches the process from now on.
pub(crate) fn watch(pid: u32, life: Arc<Life>) {
    let watcher = std::thread::Builder::new().name("cutwater-parent".to_owned());
    // Without this thread the server merely relies on the end of its input.
    let _ = watcher.spawn(move || {
        while is_alive(pid) {
            std::thread::sleep(EVERY);
        }
        life.orphaned.notify_one();
    });
}

#[cfg(unix)]
fn is_alive(pid: u32) -> bool {
    let known = i32::try_from(pid)
        .ok()
        .and_then(rustix::process::Pid::from_raw);
    let Some(id) = known else {
        // No such number: nothing to watch.
        return true;
    };
    match rustix::process::test_kill_process(id) {
        Err(rustix::io::Errno::SRCH) => false,
        // A dead process that nobody waits for is still listed; it is gone all the same.
        _ => !is_dead_but_listed(pid),
    }
}

#[cfg(unix)]
fn is_dead_but_listed(pid: u32) -> bool {
    std::fs::read_to_string(format!("/proc/{pid}/stat"))
        .ok()
        .and_then(|s| {
            let after = s.rfind(')')?;
            s[after + 1..].trim_start().chars().next()
        })
        .is_some_and(|state| matches!(state, 'Z' | 'X'))
}

#[cfg(not(unix))]
fn is_alive(_pid: u32) -> bool {
    true
}
