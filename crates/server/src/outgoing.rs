//! What the server tells the client of its own accord, in one queue.
//!
//! The owner puts messages in and never waits; one task takes them out in order. Requests to the client are
//! sent by tasks of their own, so that a client that does not answer holds nothing up.

use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};
use tower_lsp::Client;
use tower_lsp::ls_types::{Diagnostic, MessageType, Registration, Uri};

/// One message.
#[derive(Debug)]
pub(crate) enum Message {
    /// The findings of a file.
    Publish(Uri, Vec<Diagnostic>, Option<i32>),
    /// A line for the client's log.
    Log(MessageType, String),
    /// Something the user should see.
    Show(MessageType, String),
    /// Inlay hints should be asked for again.
    RefreshHints,
    /// The client should watch files.
    Register(Vec<Registration>),
}

/// Where messages are put in.
#[derive(Clone, Debug)]
pub(crate) struct Outgoing(UnboundedSender<Message>);

impl Outgoing {
    /// A queue and its other end.
    pub fn new() -> (Self, UnboundedReceiver<Message>) {
        let (tx, rx) = unbounded_channel();
        (Self(tx), rx)
    }

    /// Puts a message in. Where the client is gone, it is dropped.
    pub fn send(&self, m: Message) {
        let _ = self.0.send(m);
    }

    /// A line for the log.
    pub fn log(&self, kind: MessageType, text: impl Into<String>) {
        self.send(Message::Log(kind, text.into()));
    }
}

/// Sends what comes, until the other end is dropped.
pub(crate) async fn deliver(mut queue: UnboundedReceiver<Message>, client: Client) {
    while let Some(m) = queue.recv().await {
        match m {
            Message::Publish(uri, list, version) => {
                client.publish_diagnostics(uri, list, version).await;
            }
            Message::Log(kind, text) => client.log_message(kind, text).await,
            Message::Show(kind, text) => client.show_message(kind, text).await,
            Message::RefreshHints => {
                let client = client.clone();
                tokio::spawn(async move {
                    let _ = client.inlay_hint_refresh().await;
                });
            }
            Message::Register(list) => {
                let client = client.clone();
                tokio::spawn(async move {
                    if let Err(e) = client.register_capability(list).await {
                        let text = format!("the client does not watch files for this server: {e}");
                        client.log_message(MessageType::WARNING, text).await;
                    }
                });
            }
        }
    }
}
