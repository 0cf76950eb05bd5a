//! What stands between the protocol's reader and the handlers.
//!
//! The library runs handlers as tasks of which a few are polled at a time, so an edit could wait behind
//! requests. Here every handler is polled once where it is made, in the reader, in the order of arrival: the
//! part before its first wait, which hands the job to the owner, is therefore in order by construction, and
//! an edit is known to have arrived while older requests are still unanswered.

use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::{Context, Poll, Waker};
use tokio::sync::Notify;
use tower_lsp::jsonrpc::{Request, Response};
use tower_service::Service;

/// Where the server is in its life.
#[derive(Debug, Default)]
pub(crate) struct Life {
    shut_down: AtomicBool,
    /// `exit` was received.
    pub exit: Notify,
    /// The process that started the server is gone.
    pub orphaned: Notify,
}

impl Life {
    /// Whether the client asked for the shutdown.
    pub fn is_shut_down(&self) -> bool {
        self.shut_down.load(Ordering::Acquire)
    }
}

/// The service with the above put before it.
pub(crate) struct Gate<S> {
    inner: S,
    life: Arc<Life>,
}

impl<S> Gate<S> {
    pub fn new(inner: S, life: Arc<Life>) -> Self {
        Self { inner, life }
    }
}

type Answer<E> = Pin<Box<dyn Future<Output = Result<Option<Response>, E>> + Send>>;

impl<S, E> Service<Request> for Gate<S>
where
    S: Service<Request, Response = Option<Response>, Error = E, Future = Answer<E>>,
    E: Send + 'static,
{
    type Response = Option<Response>;
    type Error = E;
    type Future = Answer<E>;

    fn poll_ready(&mut self, cx: &mut Context<'_>) -> Poll<Result<(), E>> {
        self.inner.poll_ready(cx)
    }

    fn call(&mut self, request: Request) -> Answer<E> {
        let exit = request.method() == "exit";
        if request.method() == "shutdown" {
            self.life.shut_down.store(true, Ordering::Release);
        }
        let mut answer = self.inner.call(request);
        if exit {
            self.life.exit.notify_one();
        }
        match answer
            .as_mut()
            .poll(&mut Context::from_waker(Waker::noop()))
        {
            Poll::Ready(done) => Box::pin(std::future::ready(done)),
            // It is polled again by its task, with a waker that wakes.
            Poll::Pending => answer,
        }
    }
}
