// The program under these checks: starts a run with a page, reads its plain lines with the moments at
// which they came.

import { spawn } from "node:child_process";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";

const ROOT = fileURLToPath(new URL("../..", import.meta.url));
const PROGRAM = process.env.STEPBELL ?? "target/release/stepbell";

/** This process's clock, in milliseconds: the same that a browser on this computer shows as its time. */
export const wall = () => performance.timeOrigin + performance.now();

/** Starts `stepbell` with these words; resolves with the page's address. */
export async function run(words) {
  const child = spawn(PROGRAM, words, { cwd: ROOT, stdio: ["pipe", "pipe", "pipe"] });
  const lines = [];
  const waiting = [];
  let errors = "";
  child.stderr.on("data", (data) => (errors += data));
  const ended = new Promise((resolve) => child.on("close", (code) => resolve(code)));
  createInterface({ input: child.stdout }).on("line", (text) => {
    lines.push({ text, at: wall() });
    for (const one of [...waiting]) {
      if (one.wanted.test(text)) {
        waiting.splice(waiting.indexOf(one), 1);
        one.resolve(text);
      }
    }
  });
  const until = (wanted, patience = 30_000) => {
    const there = lines.find((line) => wanted.test(line.text));
    if (there) return Promise.resolve(there.text);
    return new Promise((resolve, reject) => {
      waiting.push({ wanted, resolve });
      const late = () => reject(new Error(`${wanted} never came:\n${lines.map((l) => l.text).join("\n")}\n${errors}`));
      setTimeout(late, patience).unref();
    });
  };
  const address = (await until(/^page: /)).slice("page: ".length);
  return { child, lines, until, ended, address, type: (line) => child.stdin.write(`${line}\n`) };
}

/**
 * When the run's clock stood at zero, on this process's clock: every plain line begins with the run's
 * seconds and comes a little later, so the earliest of them all is the nearest.
 */
export function zero(lines) {
  const zeros = lines
    .map(({ text, at }) => [text.match(/^ *(\d+)\.(\d{3}) {2}/), at])
    .filter(([found]) => found)
    .map(([found, at]) => at - (Number(found[1]) * 1000 + Number(found[2])));
  return Math.min(...zeros);
}
