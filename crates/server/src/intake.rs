//! Standard input, cleaned: only whole, well-formed messages reach the protocol's reader.
//!
//! The library ends its reading at the first thing it cannot decode (a body that is no JSON, a header it does
//! not know the form of), which would end the server. So messages are cut out here and passed on with
//! a plain header; in place of one that cannot be read goes a request that is answered with the fitting error,
//! under the id `null`, as JSON-RPC 2.0 asks for.

use std::pin::Pin;
use std::task::{Context, Poll};
use tokio::io::{AsyncRead, ReadBuf};
use tower_lsp::jsonrpc::{Request, Response};

/// The method put in place of a body that is no JSON.
pub(crate) const NOT_JSON: &str = "cutwater/notJson";

/// The method put in place of JSON that is no message.
pub(crate) const NO_MESSAGE: &str = "cutwater/noMessage";

/// Largest message read, in bytes; a text may be 32 MiB, and JSON can write a byte as six.
const MOST: usize = 256 << 20;

/// Longest header that is looked through for its end.
const LONGEST_HEADER: usize = 16 << 10;

const CHUNK: usize = 64 << 10;

/// A reader of messages.
pub(crate) struct Intake<R> {
    inner: R,
    /// Read but not yet looked at, from `at` on.
    raw: Vec<u8>,
    at: usize,
    /// To be passed on, from `given` on.
    ready: Vec<u8>,
    given: usize,
    /// Length of the body being read.
    body: Option<usize>,
    /// Bytes of a message too large, still to be thrown away.
    skip: usize,
    ended: bool,
}

impl<R> Intake<R> {
    pub fn new(inner: R) -> Self {
        Self {
            inner,
            raw: Vec::new(),
            at: 0,
            ready: Vec::new(),
            given: 0,
            body: None,
            skip: 0,
            ended: false,
        }
    }

    fn unread(&self) -> &[u8] {
        &self.raw[self.at..]
    }

    /// Goes one step on with what was read; `false` when more must be read first.
    fn step(&mut self) -> bool {
        if self.skip > 0 {
            let n = self.skip.min(self.unread().len());
            self.at += n;
            self.skip -= n;
            if self.skip == 0 {
                self.pass(&stand_in(NO_MESSAGE));
            }
            return n > 0;
        }
        match self.body {
            None => {
                const END: &[u8] = b"\r\n\r\n";
                let Some(end) = self.unread().windows(END.len()).position(|w| w == END) else {
                    if self.unread().len() > LONGEST_HEADER {
                        // No header is that long; its end may still come.
                        self.at = self.raw.len() - (END.len() - 1);
                    }
                    return false;
                };
                let length = content_length(&self.unread()[..end]);
                self.at += end + END.len();
                match length {
                    Some(n) if n > MOST => self.skip = n,
                    Some(n) => self.body = Some(n),
                    None => self.pass(&stand_in(NO_MESSAGE)),
                }
                true
            }
            Some(n) if self.unread().len() >= n => {
                let body = &self.raw[self.at..self.at + n];
                let bad = if is_message(body) {
                    None
                } else if serde_json::from_slice::<serde::de::IgnoredAny>(body).is_ok() {
                    Some(NO_MESSAGE)
                } else {
                    Some(NOT_JSON)
                };
                match bad {
                    None => {
                        let body = body.to_vec();
                        self.pass(&body);
                    }
                    Some(method) => self.pass(&stand_in(method)),
                }
                self.at += n;
                self.body = None;
                true
            }
            Some(_) => false,
        }
    }

    fn pass(&mut self, body: &[u8]) {
        let header = format!("Content-Length: {}\r\n\r\n", body.len());
        self.ready.extend_from_slice(header.as_bytes());
        self.ready.extend_from_slice(body);
    }
}

fn stand_in(method: &str) -> Vec<u8> {
    format!(r#"{{"jsonrpc":"2.0","id":null,"method":"{method}"}}"#).into_bytes()
}

fn is_message(body: &[u8]) -> bool {
    serde_json::from_slice::<Request>(body).is_ok_and(|r| !r.method().is_empty())
        || serde_json::from_slice::<Response>(body).is_ok()
}

fn content_length(header: &[u8]) -> Option<usize> {
    header.split(|b| *b == b'\n').find_map(|line| {
        let line = std::str::from_utf8(line).ok()?;
        let (name, value) = line.split_once(':')?;
        name.trim()
            .eq_ignore_ascii_case("content-length")
            .then(|| value.trim().parse().ok())?
    })
}

impl<R: AsyncRead + Unpin> AsyncRead for Intake<R> {
    fn poll_read(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        out: &mut ReadBuf<'_>,
    ) -> Poll<std::io::Result<()>> {
        let me = self.get_mut();
        loop {
            if me.given < me.ready.len() {
                let n = out.remaining().min(me.ready.len() - me.given);
                out.put_slice(&me.ready[me.given..me.given + n]);
                me.given += n;
                if me.given == me.ready.len() {
                    me.ready.clear();
                    me.given = 0;
                }
                return Poll::Ready(Ok(()));
            }
            if me.step() {
                continue;
            }
            if me.ended {
                return Poll::Ready(Ok(()));
            }
            me.raw.drain(..me.at);
            me.at = 0;
            let len = me.raw.len();
            me.raw.resize(len + CHUNK, 0);
            let mut buf = ReadBuf::new(&mut me.raw[len..]);
            let polled = Pin::new(&mut me.inner).poll_read(cx, &mut buf);
            let got = buf.filled().len();
            me.raw.truncate(len + got);
            match polled {
                Poll::Pending => return Poll::Pending,
                Poll::Ready(Err(e)) => return Poll::Ready(Err(e)),
                Poll::Ready(Ok(())) => me.ended = got == 0,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::io::AsyncReadExt;

    /// What is passed on of some bytes that come in pieces of this size.
    fn passed(bytes: &[u8], piece: usize) -> String {
        struct Pieces<'b>(&'b [u8], usize);
        impl AsyncRead for Pieces<'_> {
            fn poll_read(
                mut self: Pin<&mut Self>,
                _: &mut Context<'_>,
                out: &mut ReadBuf<'_>,
            ) -> Poll<std::io::Result<()>> {
                let n = self.1.min(self.0.len()).min(out.remaining());
                let (now, later) = self.0.split_at(n);
                out.put_slice(now);
                self.0 = later;
                Poll::Ready(Ok(()))
            }
        }
        let mut out = String::new();
        tokio::runtime::Builder::new_current_thread()
            .build()
            .unwrap()
            .block_on(Intake::new(Pieces(bytes, piece)).read_to_string(&mut out))
            .unwrap();
        out
    }

    fn message(body: &str) -> String {
        format!("Content-Length: {}\r\n\r\n{body}", body.len())
    }

    #[test]
    fn messages_pass_whatever_their_headers_and_pieces() {
        let body = r#"{"jsonrpc":"2.0","method":"a","params":{"t":"µ"}}"#;
        let reply = r#"{"jsonrpc":"2.0","id":1,"result":null}"#;
        let text = format!(
            "Content-Type: application/vscode-jsonrpc\r\ncontent-length:{}\r\nX: y\r\n\r\n{body}{}",
            body.len(),
            message(reply)
        );
        for piece in [1, 2, 7, 100_000] {
            let want = message(body) + &message(reply);
            assert_eq!(passed(text.as_bytes(), piece), want);
        }
    }

    #[test]
    fn what_is_no_message_is_replaced_and_the_next_passes() {
        let good = message(r#"{"jsonrpc":"2.0","method":"a"}"#);
        let stand = |m: &str| message(&String::from_utf8(stand_in(m)).unwrap());
        for (bad, method) in [
            (message("{nono"), NOT_JSON),
            (message("[]"), NO_MESSAGE),
            (message("7"), NO_MESSAGE),
            (message(r#"{"jsonrpc":"1.0","method":"a"}"#), NO_MESSAGE),
            (message(&"[".repeat(5000)), NOT_JSON),
            ("Nothing: here\r\n\r\n".to_owned(), NO_MESSAGE),
            ("Content-Length: many\r\n\r\n".to_owned(), NO_MESSAGE),
        ] {
            let text = bad + &good;
            for piece in [1, 13, 100_000] {
                assert_eq!(passed(text.as_bytes(), piece), stand(method) + &good);
            }
        }
        let cut = r#"Content-Length: 99

{"jsonrpc""#;
        assert_eq!(passed(cut.as_bytes(), 5), "");
    }

    #[test]
    fn noise_before_a_message_is_skipped() {
        let good = message(r#"{"jsonrpc":"2.0","method":"a"}"#);
        let text = "x".repeat(3 * LONGEST_HEADER) + "\r\n\r\n" + &good;
        let out = passed(text.as_bytes(), 1000);
        assert!(out.ends_with(&good), "{out}");
    }
}
