//! The language server over standard input and output: the only crate that knows the protocol.
//!
//! How it is put together:
//! - what cannot be read as a message is taken out of the input (`intake`);
//! - the protocol's reader (`gate`) gives each message to its handler in the order of arrival; a handler
//!   (`backend`) does nothing but hand a job to the owner, before it ever waits;
//! - one thread owns everything known (`owner`, `session`): it applies edits in order, answers requests from
//!   the current state, and when nothing waits it solves duties, dropping that at once when a newer message
//!   comes;
//! - what goes to the client on the server's own account (`outgoing`) goes through one queue that no
//!   handler waits for.
//!
//! Invariants: standard output carries the protocol and nothing else; every request gets exactly one answer; a
//! fault inside a job is caught, answered as an error and logged, and the server goes on from the texts it
//! has; the process ends on `exit`, at the end of its input and when the process that started it is gone.

mod actions;
mod backend;
mod convert;
mod gate;
mod intake;
mod outgoing;
mod owner;
mod parent;
mod places;
mod session;
mod standard;

use gate::{Gate, Life};
use intake::{Intake, NO_MESSAGE, NOT_JSON};
use std::sync::Arc;
use std::time::Duration;
use tower_lsp::{LspService, Server};

/// How long answers on their way may take to be written once `exit` was received.
const FLUSH: Duration = Duration::from_secs(1);

/// Serves one client on standard input and output until it is done. Gives the exit code the protocol asks for:
/// 0 when the client had asked for the shutdown, 1 when not, 2 when the server could not be started.
///
/// The caller should end the process with it, as a thread may still be reading standard input.
pub fn run_stdio() -> i32 {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .thread_name("cutwater-io")
        .enable_time()
        .build();
    let Ok(runtime) = runtime else {
        return 2;
    };
    let code = runtime.block_on(serve());
    // Reading standard input blocks a thread that no one can stop; it must not be waited for.
    runtime.shutdown_background();
    code
}

async fn serve() -> i32 {
    let life = Arc::new(Life::default());
    let owner = owner::Owner::start();
    let gate_owner = owner.clone();
    let (service, socket) =
        LspService::build(|client| backend::Backend::new(client, owner, life.clone()))
            .custom_method(NOT_JSON, backend::Backend::not_json)
            .custom_method(NO_MESSAGE, backend::Backend::no_message)
            .finish();
    let serving = Server::new(Intake::new(tokio::io::stdin()), tokio::io::stdout(), socket)
        .concurrency_level(64)
        .serve(Gate::new(service, life.clone()));
    tokio::pin!(serving);
    tokio::select! {
        () = &mut serving => {}
        () = life.exit.notified() => {
            // The shutdown's answer may still be on its way.
            let _ = tokio::time::timeout(FLUSH, &mut serving).await;
        }
        () = life.orphaned.notified() => {}
    }
    gate_owner.stop();
    i32::from(!life.is_shut_down())
}
