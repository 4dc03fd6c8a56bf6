// Chromium for these checks: takes nothing, gives a browser that was started with few flags and nothing
// that would speak to anybody else.

import { spawn } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { chromium } from "playwright-core";

const FLAGS = [
  "--headless",
  "--no-sandbox",
  "--disable-gpu",
  "--disable-quic",
  "--no-first-run",
  "--disable-background-networking",
  "--disable-component-update",
  "--disable-sync",
];

/** Starts the browser; gives it and what ends it. */
export async function browser() {
  const folder = mkdtempSync(join(tmpdir(), "stepbell-page-"));
  const flags = [...FLAGS, `--user-data-dir=${folder}`, "--remote-debugging-port=0", "about:blank"];
  const child = spawn(process.env.CHROMIUM ?? "chromium", flags, { stdio: ["ignore", "ignore", "pipe"] });
  const address = await new Promise((resolve, reject) => {
    child.on("error", reject);
    child.on("exit", (code) => reject(new Error(`the browser ended with ${code}`)));
    createInterface({ input: child.stderr }).on("line", (line) => {
      const found = line.match(/DevTools listening on (ws:\S+)/);
      if (found) resolve(found[1]);
    });
  });
  const driven = await chromium.connectOverCDP(address);
  const end = async () => {
    await driven.close().catch(() => {});
    const gone = new Promise((resolve) => child.on("exit", resolve));
    child.kill();
    await gone;
    // Its helpers may still be writing; what they leave behind is no finding.
    try {
      rmSync(folder, { recursive: true, force: true, maxRetries: 20, retryDelay: 100 });
    } catch (why) {
      console.error(`${folder} stays: ${why.code}`);
    }
  };
  return { driven, end };
}

/** A phone's browser of its own: its cookies are nobody else's. */
export async function phone(driven, options = {}) {
  const context = await driven.newContext({
    viewport: { width: 390, height: 664 },
    deviceScaleFactor: 2,
    hasTouch: true,
    isMobile: true,
    ...options,
  });
  const page = await context.newPage();
  const troubles = [];
  page.on("pageerror", (why) => troubles.push(`error: ${why.message}`));
  page.on("console", (line) => {
    if (line.type() === "error") troubles.push(`console: ${line.text()}`);
  });
  const outside = [];
  page.on("request", (request) => outside.push(new URL(request.url()).origin));
  return { context, page, troubles, outside };
}
