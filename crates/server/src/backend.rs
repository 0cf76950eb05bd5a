//! The protocol's handlers. Each hands a job to the owner before it waits for anything, and waits for nothing
//! but the owner's answer. What is advertised is exactly what is answered here.

use crate::actions::{Wanted, actions, fix_all, resolve};
use crate::convert::{SOURCE, choose};
use crate::gate::Life;
use crate::outgoing::{Outgoing, deliver};
use crate::owner::Owner;
use crate::session::{ClientCan, Here, Session, Start};
use crate::{convert::Lines, parent};
use cutwater_editor as editor;
use serde_json::json;
use std::sync::Arc;
use tower_lsp::jsonrpc::{Error, Result};
use tower_lsp::ls_types::*;
use tower_lsp::{Client, LanguageServer};

/// The server as the protocol sees it.
pub(crate) struct Backend {
    owner: Owner,
    life: Arc<Life>,
}

impl Backend {
    pub fn new(client: Client, owner: Owner, life: Arc<Life>) -> Self {
        let (out, queue) = Outgoing::new();
        tokio::spawn(deliver(queue, client));
        owner.edit("connect", move |s| s.connect(out));
        Self { owner, life }
    }

    /// The answer to what is no JSON.
    pub async fn not_json(&self) -> Result<()> {
        Err(Error::parse_error())
    }

    /// The answer to JSON that is no message.
    pub async fn no_message(&self) -> Result<()> {
        Err(Error::invalid_request())
    }

    /// Asks about a document; `None` where it is not known.
    fn look<T, F>(
        &self,
        name: &'static str,
        uri: Uri,
        f: F,
    ) -> impl Future<Output = Result<Option<T>>> + Send + use<T, F>
    where
        T: Send + 'static,
        F: FnOnce(&Here<'_>) -> T + Send + 'static,
    {
        self.owner.ask(name, move |s| s.look(&uri, f))
    }
}

fn start_of(params: &mut InitializeParams) -> Start {
    let c = &params.capabilities;
    let text = c.text_document.as_ref();
    let workspace = c.workspace.as_ref();
    let actions = text.and_then(|t| t.code_action.as_ref());
    let can = ClientCan {
        related: text
            .and_then(|t| t.publish_diagnostics.as_ref()?.related_information)
            .unwrap_or(false),
        watch: workspace
            .and_then(|w| w.did_change_watched_files.as_ref()?.dynamic_registration)
            .unwrap_or(false),
        refresh_hints: workspace
            .and_then(|w| w.inlay_hint.as_ref()?.refresh_support)
            .unwrap_or(false),
        links: text
            .and_then(|t| t.definition.as_ref()?.link_support)
            .unwrap_or(false),
        tree: text
            .and_then(|t| {
                t.document_symbol
                    .as_ref()?
                    .hierarchical_document_symbol_support
            })
            .unwrap_or(false),
        literal_actions: actions.is_some_and(|a| a.code_action_literal_support.is_some()),
        lazy_edits: actions.is_some_and(|a| {
            let edit =
                |r: &CodeActionCapabilityResolveSupport| r.properties.iter().any(|p| p == "edit");
            a.data_support == Some(true) && a.resolve_support.as_ref().is_some_and(edit)
        }),
        versioned_edits: workspace
            .and_then(|w| w.workspace_edit.as_ref()?.document_changes)
            .unwrap_or(false),
    };
    let offered = c
        .general
        .as_ref()
        .and_then(|g| g.position_encodings.as_deref());
    let (encoding, _) = choose(offered);
    #[allow(deprecated)] // Older clients say nothing else.
    let folders = match params.workspace_folders.take() {
        Some(list) => list.into_iter().map(|f| f.uri).collect(),
        None => match (params.root_uri.take(), params.root_path.take()) {
            (Some(u), _) => vec![u],
            (None, Some(p)) => Uri::from_file_path(p).into_iter().collect(),
            (None, None) => Vec::new(),
        },
    };
    Start {
        can,
        encoding,
        folders,
        options: params.initialization_options.take().unwrap_or_default(),
    }
}

/// What this server does.
fn capabilities(encoding: PositionEncodingKind, can: ClientCan) -> ServerCapabilities {
    let moved = FileOperationRegistrationOptions {
        filters: [
            ("**/*.pump", FileOperationPatternKind::File),
            ("**/cutwater.toml", FileOperationPatternKind::File),
            ("**", FileOperationPatternKind::Folder),
        ]
        .into_iter()
        .map(|(glob, kind)| FileOperationFilter {
            scheme: Some("file".to_owned()),
            pattern: FileOperationPattern {
                glob: glob.to_owned(),
                matches: Some(kind),
                options: None,
            },
        })
        .collect(),
    };
    ServerCapabilities {
        position_encoding: Some(encoding),
        text_document_sync: Some(TextDocumentSyncCapability::Options(
            TextDocumentSyncOptions {
                open_close: Some(true),
                change: Some(TextDocumentSyncKind::INCREMENTAL),
                ..TextDocumentSyncOptions::default()
            },
        )),
        hover_provider: Some(HoverProviderCapability::Simple(true)),
        definition_provider: Some(OneOf::Left(true)),
        document_symbol_provider: Some(OneOf::Left(true)),
        document_formatting_provider: Some(OneOf::Left(true)),
        document_range_formatting_provider: Some(OneOf::Left(true)),
        inlay_hint_provider: Some(OneOf::Left(true)),
        completion_provider: Some(CompletionOptions {
            trigger_characters: Some(vec![".".to_owned()]),
            ..CompletionOptions::default()
        }),
        code_action_provider: can.literal_actions.then(|| {
            CodeActionProviderCapability::Options(CodeActionOptions {
                code_action_kinds: Some(vec![CodeActionKind::QUICKFIX, fix_all()]),
                resolve_provider: can.lazy_edits.then_some(true),
                ..CodeActionOptions::default()
            })
        }),
        workspace: Some(WorkspaceServerCapabilities {
            workspace_folders: Some(WorkspaceFoldersServerCapabilities {
                supported: Some(true),
                change_notifications: Some(OneOf::Left(true)),
            }),
            file_operations: Some(WorkspaceFileOperationsServerCapabilities {
                did_create: Some(moved.clone()),
                did_rename: Some(moved.clone()),
                did_delete: Some(moved),
                ..WorkspaceFileOperationsServerCapabilities::default()
            }),
        }),
        ..ServerCapabilities::default()
    }
}

/// What the client is asked to watch: nothing but specs and project files.
fn watchers() -> Vec<Registration> {
    vec![Registration {
        id: "cutwater-files".to_owned(),
        method: "workspace/didChangeWatchedFiles".to_owned(),
        register_options: Some(json!({
            "watchers": [{ "globPattern": "**/*.pump" }, { "globPattern": "**/cutwater.toml" }, { "globPattern": format!("**/{}", cutwater_compiler::baseline::FILE_NAME) }]
        })),
    }]
}

impl LanguageServer for Backend {
    // It waits for nothing, so a client that sends on without waiting for the answer is served too.
    async fn initialize(&self, mut params: InitializeParams) -> Result<InitializeResult> {
        if let Some(pid) = params.process_id {
            parent::watch(pid, self.life.clone());
        }
        let offered = params
            .capabilities
            .general
            .as_ref()
            .and_then(|g| g.position_encodings.as_deref());
        let (_, encoding) = choose(offered);
        let start = start_of(&mut params);
        let can = start.can;
        self.owner.edit("initialize", move |s| s.start(start));
        Ok(InitializeResult {
            capabilities: capabilities(encoding, can),
            server_info: Some(ServerInfo {
                name: SOURCE.to_owned(),
                version: Some(env!("CARGO_PKG_VERSION").to_owned()),
            }),
            ..InitializeResult::default()
        })
    }

    async fn initialized(&self, _: InitializedParams) {
        self.owner.edit("initialized", |s| s.begin(watchers()));
    }

    async fn shutdown(&self) -> Result<()> {
        Ok(())
    }

    async fn did_open(&self, p: DidOpenTextDocumentParams) {
        let d = p.text_document;
        self.owner
            .edit("didOpen", move |s| s.open(d.uri, d.text, d.version));
    }

    async fn did_change(&self, p: DidChangeTextDocumentParams) {
        self.owner.edit("didChange", move |s| {
            s.change(
                &p.text_document.uri,
                p.text_document.version,
                p.content_changes,
            );
        });
    }

    async fn did_close(&self, p: DidCloseTextDocumentParams) {
        self.owner
            .edit("didClose", move |s| s.close(&p.text_document.uri));
    }

    async fn did_change_configuration(&self, p: DidChangeConfigurationParams) {
        self.owner.edit("didChangeConfiguration", move |s| {
            s.reconfigure(&p.settings)
        });
    }

    async fn did_change_workspace_folders(&self, p: DidChangeWorkspaceFoldersParams) {
        let uris = |list: Vec<WorkspaceFolder>| list.into_iter().map(|f| f.uri).collect::<Vec<_>>();
        let (removed, added) = (uris(p.event.removed), uris(p.event.added));
        self.owner.edit("didChangeWorkspaceFolders", move |s| {
            s.change_folders(&removed, &added);
        });
    }

    async fn did_change_watched_files(&self, p: DidChangeWatchedFilesParams) {
        self.owner
            .edit("didChangeWatchedFiles", move |s| s.watched(p.changes));
    }

    async fn did_create_files(&self, p: CreateFilesParams) {
        let new = p.files.into_iter().map(|f| f.uri).collect();
        self.owner
            .edit("didCreateFiles", move |s| s.moved(Vec::new(), new));
    }

    async fn did_rename_files(&self, p: RenameFilesParams) {
        let (gone, new) = p.files.into_iter().map(|f| (f.old_uri, f.new_uri)).unzip();
        self.owner
            .edit("didRenameFiles", move |s| s.moved(gone, new));
    }

    async fn did_delete_files(&self, p: DeleteFilesParams) {
        let gone = p.files.into_iter().map(|f| f.uri).collect();
        self.owner
            .edit("didDeleteFiles", move |s| s.moved(gone, Vec::new()));
    }

    async fn hover(&self, p: HoverParams) -> Result<Option<Hover>> {
        let at = p.text_document_position_params;
        let answer = self.look("hover", at.text_document.uri, move |h| {
            let offset = h.lines(|l| l.offset(at.position));
            let found = editor::hover(h.db, h.file, offset)?;
            Some(Hover {
                contents: HoverContents::Markup(MarkupContent {
                    kind: MarkupKind::Markdown,
                    value: found.text,
                }),
                range: Some(h.lines(|l| l.range(found.span))),
            })
        });
        Ok(answer.await?.flatten())
    }

    async fn goto_definition(
        &self,
        p: GotoDefinitionParams,
    ) -> Result<Option<GotoDefinitionResponse>> {
        let at = p.text_document_position_params;
        let uri = at.text_document.uri;
        let answer = self.owner.ask("definition", move |s| {
            let links = s.client().links;
            s.look(&uri, |h| {
                let offset = h.lines(|l| l.offset(at.position));
                let d = editor::definition(h.db, h.file, offset)?;
                h.converter(|c| {
                    let name = c.location(d.name)?;
                    Some(if links {
                        GotoDefinitionResponse::Link(vec![LocationLink {
                            origin_selection_range: Some(h.lines(|l| l.range(d.origin))),
                            target_uri: name.uri,
                            target_range: c.range(d.whole),
                            target_selection_range: name.range,
                        }])
                    } else {
                        GotoDefinitionResponse::Scalar(name)
                    })
                })
            })
        });
        Ok(answer.await?.flatten())
    }

    async fn document_symbol(
        &self,
        p: DocumentSymbolParams,
    ) -> Result<Option<DocumentSymbolResponse>> {
        let uri = p.text_document.uri;
        let answer = self.owner.ask("documentSymbol", move |s| {
            let tree = s.client().tree;
            s.look(&uri, |h| {
                let list = editor::symbols(h.db, h.file);
                h.lines(|l| {
                    if tree {
                        DocumentSymbolResponse::Nested(
                            list.into_iter().map(|s| symbol(l, s)).collect(),
                        )
                    } else {
                        let mut flat = Vec::new();
                        for s in list {
                            flatten(l, &uri, s, None, &mut flat);
                        }
                        DocumentSymbolResponse::Flat(flat)
                    }
                })
            })
        });
        answer.await
    }

    async fn formatting(&self, p: DocumentFormattingParams) -> Result<Option<Vec<TextEdit>>> {
        let uri = p.text_document.uri;
        self.owner
            .ask("formatting", move |s| {
                layout(s, &uri, |l| editor::format_edits(l.text))
            })
            .await
    }

    async fn range_formatting(
        &self,
        p: DocumentRangeFormattingParams,
    ) -> Result<Option<Vec<TextEdit>>> {
        let uri = p.text_document.uri;
        self.owner
            .ask("rangeFormatting", move |s| {
                layout(s, &uri, |l| editor::format_range(l.text, l.span(p.range)))
            })
            .await
    }

    async fn inlay_hint(&self, p: InlayHintParams) -> Result<Option<Vec<InlayHint>>> {
        let uri = p.text_document.uri;
        self.owner
            .ask("inlayHint", move |s| {
                let on = editor::HintKind::ALL.map(|k| (k, s.wants(k)));
                s.look(&uri, |h| {
                    let span = h.lines(|l| l.span(p.range));
                    let wants = |k| on.iter().any(|(x, yes)| *x == k && *yes);
                    let list = editor::hints(h.db, h.file, span, wants);
                    h.lines(|l| list.into_iter().map(|x| hint(l, x)).collect())
                })
            })
            .await
    }

    async fn completion(&self, p: CompletionParams) -> Result<Option<CompletionResponse>> {
        let at = p.text_document_position;
        let answer = self.look("completion", at.text_document.uri, move |h| {
            let offset = h.lines(|l| l.offset(at.position));
            let (span, list) = editor::completions(h.db, h.file, offset);
            h.lines(|l| {
                let range = l.range(span);
                let items = list.into_iter().map(|c| completion(range, c)).collect();
                CompletionResponse::Array(items)
            })
        });
        answer.await
    }

    async fn code_action(&self, p: CodeActionParams) -> Result<Option<CodeActionResponse>> {
        let uri = p.text_document.uri;
        self.owner
            .ask("codeAction", move |s| {
                let can = s.client();
                s.look(&uri, |h| {
                    actions(h, &uri, p.range, p.context.only.as_deref(), can)
                })
            })
            .await
    }

    async fn code_action_resolve(&self, mut action: CodeAction) -> Result<CodeAction> {
        let data = action.data.clone().unwrap_or_default();
        let asked: Wanted = serde_json::from_value(data)
            .map_err(|_| Error::invalid_params("this code action is none of this server's"))?;
        let edit = self
            .owner
            .ask("codeAction/resolve", move |s: &mut Session| {
                let can = s.client();
                s.look(&asked.uri, |h| resolve(h, &asked, can))
            })
            .await?;
        // The text is another by now, or as it stands the fix would spoil it.
        action.edit = Some(edit.flatten().ok_or_else(Error::content_modified)?);
        Ok(action)
    }
}

/// Edits of a document's layout; `None` where it is not known or no spec. It needs no more than the text.
fn layout(
    s: &mut Session,
    uri: &Uri,
    edits: impl FnOnce(Lines<'_>) -> Vec<editor::TextEdit>,
) -> Option<Vec<TextEdit>> {
    let (text, index, encoding) = s.text_of(uri)?;
    let lines = Lines {
        text,
        index,
        encoding,
    };
    Some(
        edits(lines)
            .into_iter()
            .map(|e| TextEdit::new(lines.range(e.span), e.text))
            .collect(),
    )
}

fn symbol_kind(k: editor::SymbolKind) -> SymbolKind {
    match k {
        editor::SymbolKind::File => SymbolKind::MODULE,
        editor::SymbolKind::Value => SymbolKind::CONSTANT,
        editor::SymbolKind::Rule => SymbolKind::EVENT,
        editor::SymbolKind::Declaration => SymbolKind::OBJECT,
        editor::SymbolKind::Field => SymbolKind::PROPERTY,
        editor::SymbolKind::Group => SymbolKind::NAMESPACE,
        editor::SymbolKind::Table => SymbolKind::ARRAY,
        editor::SymbolKind::Station => SymbolKind::VARIABLE,
    }
}

#[allow(deprecated)] // The struct has a field that is deprecated and must be given.
fn symbol(l: Lines<'_>, s: editor::Symbol) -> DocumentSymbol {
    DocumentSymbol {
        name: s.text,
        detail: Some(s.detail).filter(|d| !d.is_empty()),
        kind: symbol_kind(s.kind),
        tags: None,
        deprecated: None,
        range: l.range(s.whole),
        selection_range: l.range(s.name),
        children: Some(s.children.into_iter().map(|c| symbol(l, c)).collect()),
    }
}

#[allow(deprecated)] // As above.
fn flatten(
    l: Lines<'_>,
    uri: &Uri,
    s: editor::Symbol,
    parent: Option<&str>,
    out: &mut Vec<SymbolInformation>,
) {
    out.push(SymbolInformation {
        name: s.text.clone(),
        kind: symbol_kind(s.kind),
        tags: None,
        deprecated: None,
        location: Location::new(uri.clone(), l.range(s.whole)),
        container_name: parent.map(str::to_owned),
    });
    for c in s.children {
        flatten(l, uri, c, Some(&s.text), out);
    }
}

fn hint(l: Lines<'_>, h: editor::Hint) -> InlayHint {
    InlayHint {
        position: l.position(h.offset),
        label: InlayHintLabel::String(h.label),
        kind: None,
        text_edits: None,
        tooltip: Some(h.tooltip).filter(|t| !t.is_empty()).map(|value| {
            InlayHintTooltip::MarkupContent(MarkupContent {
                kind: MarkupKind::Markdown,
                value,
            })
        }),
        padding_left: Some(true),
        padding_right: None,
        data: None,
    }
}

fn completion(range: Range, c: editor::Completion) -> CompletionItem {
    let kind = match c.kind {
        editor::CompletionKind::Keyword => CompletionItemKind::KEYWORD,
        editor::CompletionKind::Field => CompletionItemKind::FIELD,
        editor::CompletionKind::Computed => CompletionItemKind::PROPERTY,
        editor::CompletionKind::Declaration => CompletionItemKind::CLASS,
        editor::CompletionKind::File => CompletionItemKind::MODULE,
        editor::CompletionKind::Unit => CompletionItemKind::UNIT,
        editor::CompletionKind::Word => CompletionItemKind::ENUM_MEMBER,
        editor::CompletionKind::Function => CompletionItemKind::FUNCTION,
    };
    CompletionItem {
        text_edit: Some(CompletionTextEdit::Edit(TextEdit::new(
            range,
            c.insert.unwrap_or_else(|| c.label.clone()),
        ))),
        label: c.label,
        kind: Some(kind),
        detail: Some(c.detail).filter(|d| !d.is_empty()),
        documentation: Some(c.doc).filter(|d| !d.is_empty()).map(|value| {
            Documentation::MarkupContent(MarkupContent {
                kind: MarkupKind::Markdown,
                value,
            })
        }),
        ..CompletionItem::default()
    }
}
