//! A strict client: it speaks to the real server over its real standard input and output, and fails a test for
//! anything the protocol does not allow: bytes that are no message, an answer to what was not asked, a second
//! answer, findings of a document that go back in version, a request that is never answered.

use serde_json::{Value, json};
use std::collections::{HashMap, HashSet};
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

/// How long anything may take before the test is given up. Generous: machines are busy.
const PATIENCE: Duration = Duration::from_secs(60);

/// A client with its server.
pub struct Client {
    child: Child,
    stdin: Option<ChildStdin>,
    incoming: Receiver<Result<Value, String>>,
    next: i64,
    asked: HashSet<i64>,
    answers: HashMap<i64, Value>,
    /// The last findings of each document, with the version they were for.
    pub shown: HashMap<String, (Option<i64>, Vec<Value>)>,
    /// Every publication in order: document and version.
    pub published: Vec<(String, Option<i64>)>,
    /// Requests of the server, by method.
    pub requests: Vec<(String, Value)>,
    /// Messages shown or logged.
    pub messages: Vec<String>,
    /// Error codes answered to what was no message.
    pub unread: Vec<i64>,
    cache: tempfile::TempDir,
}

/// A workspace on disk.
pub struct Folder(pub tempfile::TempDir);

impl Folder {
    /// A folder with these files.
    pub fn new(files: &[(&str, &str)]) -> Self {
        let f = Self(tempfile::tempdir().unwrap());
        for (path, text) in files {
            f.write(path, text);
        }
        f
    }

    /// Writes a file.
    pub fn write(&self, path: &str, text: &str) {
        let full = self.path(path);
        std::fs::create_dir_all(full.parent().unwrap()).unwrap();
        std::fs::write(full, text).unwrap();
    }

    /// A path in it.
    pub fn path(&self, path: &str) -> PathBuf {
        self.0.path().join(path)
    }

    /// The URI of a file in it.
    pub fn uri(&self, path: &str) -> String {
        uri(&self.path(path))
    }
}

/// The URI of a path.
pub fn uri(path: &Path) -> String {
    format!("file://{}", path.display())
}

/// What a full-featured client says it can do.
pub fn able() -> Value {
    json!({
        "general": { "positionEncodings": ["utf-16"] },
        "workspace": {
            "didChangeWatchedFiles": { "dynamicRegistration": true },
            "workspaceEdit": { "documentChanges": false },
            "inlayHint": { "refreshSupport": true }
        },
        "textDocument": {
            "publishDiagnostics": { "relatedInformation": true, "versionSupport": true },
            "codeAction": {
                "codeActionLiteralSupport": { "codeActionKind": { "valueSet": ["quickfix", "source"] } }
            },
            "documentSymbol": { "hierarchicalDocumentSymbolSupport": true },
            "definition": { "linkSupport": false }
        }
    })
}

impl Client {
    /// Starts a server; nothing is said yet.
    pub fn spawn() -> Self {
        let cache = tempfile::tempdir().unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_cutwater-serve"))
            .env("XDG_CACHE_HOME", cache.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut out = BufReader::new(child.stdout.take().unwrap());
        let (tx, incoming) = channel();
        std::thread::spawn(move || {
            loop {
                match frame(&mut out) {
                    Ok(Some(v)) => {
                        if tx.send(Ok(v)).is_err() {
                            return;
                        }
                    }
                    Ok(None) => return,
                    Err(e) => {
                        let _ = tx.send(Err(e));
                        return;
                    }
                }
            }
        });
        Self {
            stdin: child.stdin.take(),
            child,
            incoming,
            next: 0,
            asked: HashSet::new(),
            answers: HashMap::new(),
            shown: HashMap::new(),
            published: Vec::new(),
            requests: Vec::new(),
            messages: Vec::new(),
            unread: Vec::new(),
            cache,
        }
    }

    /// Starts a server and shakes hands, with these folders as the workspace.
    pub fn start(folders: &[&Folder]) -> Self {
        Self::start_with(folders, able(), json!(null)).0
    }

    /// The same with other abilities and options; gives what the server said of itself, too.
    pub fn start_with(folders: &[&Folder], able: Value, options: Value) -> (Self, Value) {
        let mut c = Self::spawn();
        let folders: Vec<Value> = folders
            .iter()
            .map(|f| json!({ "uri": uri(f.0.path()), "name": "test" }))
            .collect();
        let said = c.ask(
            "initialize",
            json!({
                "processId": std::process::id(),
                "rootUri": null,
                "workspaceFolders": folders,
                "capabilities": able,
                "initializationOptions": options,
            }),
        );
        c.tell("initialized", json!({}));
        (c, said)
    }

    /// The server's cache folder.
    pub fn cache(&self) -> &Path {
        self.cache.path()
    }

    /// Writes bytes as they are.
    pub fn raw(&mut self, bytes: &[u8]) {
        let stdin = self.stdin.as_mut().unwrap();
        stdin.write_all(bytes).unwrap();
        stdin.flush().unwrap();
    }

    fn send(&mut self, m: &Value) {
        let body = m.to_string();
        let text = format!("Content-Length: {}\r\n\r\n{body}", body.len());
        self.raw(text.as_bytes());
    }

    /// A notification.
    pub fn tell(&mut self, method: &str, params: Value) {
        self.send(&json!({ "jsonrpc": "2.0", "method": method, "params": params }));
    }

    /// A request that is not waited for; gives its id.
    pub fn post(&mut self, method: &str, params: Value) -> i64 {
        self.next += 1;
        let id = self.next;
        self.asked.insert(id);
        let mut m = json!({ "jsonrpc": "2.0", "id": id, "method": method });
        if !params.is_null() {
            m["params"] = params;
        }
        self.send(&m);
        id
    }

    /// The whole answer to a request, waited for.
    pub fn answer(&mut self, id: i64) -> Value {
        let end = Instant::now() + PATIENCE;
        loop {
            if let Some(a) = self.answers.remove(&id) {
                return a;
            }
            assert!(self.take(end), "request {id} was not answered");
        }
    }

    /// A request and its result; an error fails the test.
    pub fn ask(&mut self, method: &str, params: Value) -> Value {
        let id = self.post(method, params);
        let a = self.answer(id);
        assert!(a.get("error").is_none(), "{method}: {a}");
        a["result"].clone()
    }

    /// Takes in one message; `false` when none came by `end` or the server closed its output.
    fn take(&mut self, end: Instant) -> bool {
        let left = end.saturating_duration_since(Instant::now());
        match self.incoming.recv_timeout(left) {
            Ok(Ok(m)) => {
                self.receive(m);
                true
            }
            Ok(Err(e)) => panic!("the server broke the protocol: {e}"),
            Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => false,
        }
    }

    fn receive(&mut self, m: Value) {
        assert_eq!(m["jsonrpc"], "2.0", "{m}");
        let method = m.get("method").and_then(Value::as_str).map(str::to_owned);
        match (method, m.get("id")) {
            (Some(method), Some(id)) => {
                self.requests.push((method, m["params"].clone()));
                let answer = json!({ "jsonrpc": "2.0", "id": id, "result": null });
                // The server may have ended by now.
                let body = answer.to_string();
                if let Some(stdin) = self.stdin.as_mut() {
                    let _ = write!(stdin, "Content-Length: {}\r\n\r\n{body}", body.len());
                    let _ = stdin.flush();
                }
            }
            (Some(method), None) => match method.as_str() {
                "textDocument/publishDiagnostics" => {
                    let p = &m["params"];
                    let uri = p["uri"].as_str().unwrap().to_owned();
                    let version = p.get("version").and_then(Value::as_i64);
                    if let (Some(new), Some((Some(old), _))) = (version, self.shown.get(&uri)) {
                        assert!(new >= *old, "findings of {uri} go back from {old} to {new}");
                    }
                    let list = p["diagnostics"].as_array().unwrap().clone();
                    self.published.push((uri.clone(), version));
                    self.shown.insert(uri, (version, list));
                }
                "window/logMessage" | "window/showMessage" => {
                    self.messages
                        .push(m["params"]["message"].as_str().unwrap().to_owned());
                }
                other => panic!("the server sent `{other}`, which no client can know: {m}"),
            },
            (None, Some(id)) => {
                if id.is_null() {
                    self.unread.push(m["error"]["code"].as_i64().unwrap());
                    return;
                }
                let id = id.as_i64().unwrap();
                assert!(
                    self.asked.remove(&id),
                    "an answer to nothing, or a second one: {m}"
                );
                assert!(
                    m.get("result").is_some() != m.get("error").is_some(),
                    "an answer is a result or an error: {m}"
                );
                self.answers.insert(id, m);
            }
            (None, None) => panic!("neither request, notification nor answer: {m}"),
        }
    }

    /// Waits until `f` holds for what is shown.
    pub fn until(&mut self, what: &str, f: impl Fn(&Self) -> bool) {
        let end = Instant::now() + PATIENCE;
        while !f(self) {
            assert!(
                self.take(end),
                "gave up waiting until {what}; shown: {:#?}",
                self.shown
            );
        }
    }

    /// Opens a document.
    pub fn open(&mut self, uri: &str, text: &str) {
        self.tell(
            "textDocument/didOpen",
            json!({ "textDocument": { "uri": uri, "languageId": "pump", "version": 1, "text": text } }),
        );
    }

    /// Replaces a whole document.
    pub fn set(&mut self, uri: &str, version: i64, text: &str) {
        self.change(uri, version, json!([{ "text": text }]));
    }

    /// Edits a document.
    pub fn change(&mut self, uri: &str, version: i64, changes: Value) {
        self.tell(
            "textDocument/didChange",
            json!({ "textDocument": { "uri": uri, "version": version }, "contentChanges": changes }),
        );
    }

    /// Waits until the findings of this version of a document are shown and the server has nothing left to say on it;
    /// gives them.
    pub fn findings(&mut self, uri: &str, version: i64) -> Vec<Value> {
        self.until(&format!("version {version} of {uri} is checked"), |c| {
            c.shown.get(uri).is_some_and(|s| s.0 == Some(version))
        });
        self.shown[uri].1.clone()
    }

    /// The codes shown for a document.
    pub fn codes(&self, uri: &str) -> Vec<String> {
        let mut out: Vec<String> = self
            .shown
            .get(uri)
            .into_iter()
            .flat_map(|s| &s.1)
            .map(|d| d["code"].as_str().unwrap_or("-").to_owned())
            .collect();
        out.sort();
        out
    }

    /// A request about a place in a document.
    pub fn ask_at(&mut self, method: &str, uri: &str, line: u32, character: u32) -> Value {
        self.ask(
            method,
            json!({ "textDocument": { "uri": uri }, "position": { "line": line, "character": character } }),
        )
    }

    /// Asks for the shutdown, ends, and gives the exit code. Every request must have been answered.
    pub fn finish(mut self) -> i32 {
        self.ask("shutdown", Value::Null);
        self.tell("exit", Value::Null);
        let code = self.wait();
        assert!(self.asked.is_empty(), "never answered: {:?}", self.asked);
        code
    }

    /// Closes the server's input.
    pub fn hang_up(&mut self) {
        self.stdin = None;
    }

    /// Waits for the server's end, with its input as it is; gives its exit code.
    pub fn wait(&mut self) -> i32 {
        let end = Instant::now() + PATIENCE;
        loop {
            if let Some(s) = self.child.try_wait().unwrap() {
                while self.take(Instant::now() + Duration::from_millis(200)) {}
                return s.code().expect("the server was killed");
            }
            assert!(Instant::now() < end, "the server does not end");
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}

impl Drop for Client {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Reads one message; `None` at the end of the output.
fn frame(out: &mut impl BufRead) -> Result<Option<Value>, String> {
    let mut length = None;
    let mut first = true;
    loop {
        let mut line = String::new();
        if out.read_line(&mut line).map_err(|e| e.to_string())? == 0 {
            return if first {
                Ok(None)
            } else {
                Err("the output ends inside a header".to_owned())
            };
        }
        first = false;
        let line = line
            .strip_suffix("\r\n")
            .ok_or_else(|| format!("not a header: {line:?}"))?;
        if line.is_empty() {
            break;
        }
        match line.split_once(": ") {
            Some(("Content-Length", n)) => {
                length = Some(n.parse::<usize>().map_err(|e| e.to_string())?);
            }
            Some(("Content-Type", _)) => {}
            _ => return Err(format!("not a header: {line:?}")),
        }
    }
    let mut body = vec![0; length.ok_or("a message without a length")?];
    out.read_exact(&mut body).map_err(|e| e.to_string())?;
    serde_json::from_slice(&body)
        .map(Some)
        .map_err(|e| e.to_string())
}
