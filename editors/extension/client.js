// Starts `stepbell language-server` and joins it to the editor. All that it knows of scripts is in that
// program; where it cannot be started, the person is told how to name it.
'use strict';

const vscode = require('vscode');
const { LanguageClient } = require('vscode-languageclient/node');

let client;

async function activate(context) {
  const program = vscode.workspace.getConfiguration('stepbell').get('program', 'stepbell');
  const server = { command: program, args: ['language-server'] };
  const options = {
    documentSelector: [{ language: 'bell', scheme: 'file' }, { language: 'bell', scheme: 'untitled' }],
  };
  client = new LanguageClient('stepbell', 'Stepbell', server, options);
  context.subscriptions.push({ dispose: () => client.stop() });
  try {
    await client.start();
  } catch (why) {
    vscode.window.showErrorMessage(
      `${program} cannot be started (${why}). Name it in the setting stepbell.program.`);
  }
}

function deactivate() {
  return client ? client.stop() : undefined;
}

module.exports = { activate, deactivate };
