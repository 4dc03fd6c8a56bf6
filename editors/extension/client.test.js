// The client against an editor that is only played: what it starts, for which documents, and what it says
// where the program is missing.
'use strict';

const assert = require('node:assert');
const fs = require('node:fs');
const Module = require('node:module');
const path = require('node:path');
const test = require('node:test');

function load(start) {
  const seen = { errors: [] };
  const vscode = {
    workspace: { getConfiguration: () => ({ get: (name, unless) => seen[name] ?? unless }) },
    window: { showErrorMessage: (text) => seen.errors.push(text) },
  };
  class LanguageClient {
    constructor(id, name, server, options) {
      Object.assign(seen, { id, server, options });
    }
    start() { return start(); }
    stop() { seen.stopped = true; }
  }
  const real = Module._load;
  Module._load = (name, ...rest) => {
    if (name === 'vscode') return vscode;
    if (name === 'vscode-languageclient/node') return { LanguageClient };
    return real(name, ...rest);
  };
  delete require.cache[require.resolve('./client.js')];
  const client = require('./client.js');
  Module._load = real;
  return { client, seen };
}

test('it starts the language server for scripts, saved or not', async () => {
  const { client, seen } = load(async () => {});
  const context = { subscriptions: [] };
  await client.activate(context);
  assert.deepStrictEqual(seen.server, { command: 'stepbell', args: ['language-server'] });
  assert.deepStrictEqual(seen.options.documentSelector.map((one) => one.scheme), ['file', 'untitled']);
  client.deactivate();
  assert.ok(seen.stopped && context.subscriptions.length === 1);
});

test('a program that is not there is named', async () => {
  const { client, seen } = load(async () => { throw new Error('ENOENT'); });
  await client.activate({ subscriptions: [] });
  assert.match(seen.errors[0], /stepbell cannot be started .*stepbell\.program/);
});

test('every file that the package names is there', () => {
  const package_ = JSON.parse(fs.readFileSync(path.join(__dirname, 'package.json'), 'utf8'));
  const { languages, grammars } = package_.contributes;
  for (const file of [package_.main, languages[0].configuration, grammars[0].path]) {
    assert.ok(fs.existsSync(path.join(__dirname, file)), file);
  }
  const grammar = JSON.parse(fs.readFileSync(path.join(__dirname, grammars[0].path), 'utf8'));
  assert.strictEqual(grammar.scopeName, grammars[0].scopeName);
  const configuration = JSON.parse(fs.readFileSync(path.join(__dirname, languages[0].configuration), 'utf8'));
  const { increaseIndentPattern, decreaseIndentPattern } = configuration.indentationRules;
  assert.match('  step wake "Hold it."', new RegExp(increaseIndentPattern));
  assert.doesNotMatch('  step-one', new RegExp(increaseIndentPattern));
  assert.match('end phase', new RegExp(decreaseIndentPattern));
  assert.deepStrictEqual('show-new, done'.match(new RegExp(configuration.wordPattern, 'g')), ['show-new', 'done']);
});
