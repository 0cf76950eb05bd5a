// Starts `cutwater lsp` for .pump files; everything else is the server's work.
const { workspace } = require('vscode');
const { LanguageClient } = require('vscode-languageclient/node');

let client;

exports.activate = async () => {
  const settings = workspace.getConfiguration('cutwater');
  const server = { command: settings.get('server.path'), args: ['lsp'] };
  client = new LanguageClient('cutwater', 'Cutwater', server, {
    documentSelector: [
      { scheme: 'file', language: 'pump' },
      { scheme: 'untitled', language: 'pump' },
      { scheme: 'file', pattern: '**/cutwater.toml' },
    ],
    initializationOptions: { inlayHints: settings.get('inlayHints') },
    synchronize: { configurationSection: 'cutwater' },
  });
  await client.start();
};

exports.deactivate = () => client?.stop();
