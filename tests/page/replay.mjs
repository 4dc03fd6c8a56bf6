// A replay on the page: the scrubber by touch and by keyboard, moves, the list of steps and marks, two
// records side by side, a drill. `tools` are those of check.mjs.

import assert from "node:assert/strict";
import { mkdtempSync, readFileSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

/** A record of the demonstration procedure in which the vehicle was silent once. */
const RECORD = "tests/page/replayed.jsonl";

/** What the scrubber is at, in milliseconds of the record. */
const at = (here) => here.page.evaluate(() => Number(document.getElementById("scrub").value));
const line = (here) => here.page.textContent("#place-line");

async function settle(here, holds) {
  await here.until(holds);
  // The hand is off the scrubber, and it follows again.
  await here.page.waitForTimeout(900);
}

export async function replayed({ show, person, close, check, reads, stop }) {
  const started = await show(RECORD, "--page", "--from", "wake");
  const here = await person(started.address);
  await check("a replay on the page stands still, goes on, and says where it is", async () => {
    await here.page.tap("#big");
    await here.sees("shorten idle");
    await here.page.tap("#play");
    await here.sees("PAUSED");
    await here.sees("REPLAY: this has already happened");
    assert.equal(await here.page.isHidden("#tools"), true, "nothing can be reported");
    await reads(here, "20-replay");
  });
  await check("the scrubber goes by touch", async () => {
    const box = await here.page.locator("#scrub").boundingBox();
    await here.page.touchscreen.tap(box.x + box.width * 0.5, box.y + box.height / 2);
    await settle(here, () => /at \d/.test(document.getElementById("place-line").textContent));
    const { now, first, last } = await here.page.evaluate(() => {
      const scrub = document.getElementById("scrub");
      return { now: Number(scrub.value), first: Number(scrub.min), last: Number(scrub.max) };
    });
    const part = (now - first) / (last - first);
    assert.ok(part > 0.4 && part < 0.6, `half of the way: ${part}`);
  });
  await check("the scrubber goes by keyboard, and its place is spoken", async () => {
    await here.page.focus("#scrub");
    const before = await at(here);
    for (let n = 0; n < 3; n += 1) await here.page.keyboard.press("ArrowRight");
    await settle(here, () => true);
    assert.equal((await at(here)) - before >= 3000 && (await at(here)) - before <= 3999, true, `${before} ${await at(here)}`);
    const spoken = await here.page.getAttribute("#scrub", "aria-valuetext");
    assert.match(spoken, /^(\d+ minutes? )?\d+ seconds? of /);
    await here.page.keyboard.press("Home");
    await settle(here, () => document.getElementById("place-line").textContent.startsWith("0:00"));
    await here.page.keyboard.press("End");
    await here.sees("END, held");
    await reads(here, "21-replay-end");
  });
  await check("a step and a mark are gone to from the list", async () => {
    await here.page.tap("#list-head");
    await here.sees("mark: ");
    await reads(here, "22-replay-places");
    const steps = await here.page.locator("#places button").allTextContents();
    const again = steps.findIndex((text) => text.includes("wake, again (2)"));
    assert.ok(again > 0, steps.join("\n"));
    await here.page.locator("#places button").nth(again).tap();
    await here.sees("Once more: try 1 of 2.");
    assert.equal(await here.page.locator('#places [aria-current="true"]').count(), 1);
  });
  await check("speed, cues, marks and idle stretches are moved by buttons with names", async () => {
    await here.page.tap("text=faster");
    await here.until(() => document.getElementById("place-line").textContent.includes("×2"));
    await here.page.tap("#idle");
    await here.until(() => document.getElementById("idle").getAttribute("aria-pressed") === "true");
    await here.page.tap("#stops");
    await here.until(() => document.getElementById("stops").getAttribute("aria-pressed") === "true");
    const before = await at(here);
    await here.page.tap("text=next cue");
    await here.until((before) => Number(document.getElementById("scrub").value) !== before, 5000, before);
    await here.page.tap("text=close replay");
    await here.sees("REPLAY CLOSED");
  });
  await started.ended;
  stop(started);
  await close(here);
}

export async function besides({ show, person, close, check, reads, stop }) {
  const started = await show(RECORD, "--page", "--beside", RECORD, "--align", "wake/2");
  for (const [name, viewport] of [["23-beside-phone", { width: 390, height: 664 }], ["24-beside-computer", { width: 1100, height: 760 }]]) {
    const here = await person(started.address, { viewport });
    await check(`two records stand side by side (${name})`, async () => {
      await here.page.tap("#no");
      await here.until(() => /Lead from here|next cue/.test(document.body.innerText));
      if (await here.page.isVisible("text=Lead from here")) await here.page.tap("text=Lead from here");
      await here.sees("next cue");
      await here.page.locator("#list-head").tap();
      await here.page.locator("#places button", { hasText: "step fetch" }).first().tap();
      await here.sees("Beside: ");
      await reads(here, name);
    });
    here.troubles.length = 0;
    await close(here);
  }
  await stop(started);
}

export async function drills({ show, person, close, check, reads, stop }) {
  const folder = mkdtempSync(join(tmpdir(), "stepbell-answers-"));
  const started = await show(RECORD, "--page", "--drill", "--seed", "1", "--answers", folder);
  const here = await person(started.address);
  await check("a drill asks on the page, by taps and by a typed time, and keeps the answers", async () => {
    await here.page.tap("#no");
    await here.sees("What comes next?");
    assert.equal(await here.page.isHidden("#list"), true, "no list tells what comes next");
    await reads(here, "25-drill");
    await here.page.tap("#choices button:nth-child(1)");
    await here.sees("By when?");
    await reads(here, "26-drill-when");
    await here.page.fill("#time", "none");
    await here.page.tap("#time-form button");
    await here.until(() => document.getElementById("verdicts").children.length === 2);
    await here.page.tap("text=close replay");
    await here.sees("REPLAY CLOSED");
    await started.ended;
    const [file] = readdirSync(folder);
    assert.match(file, /\.drill\.jsonl$/);
    const lines = readFileSync(join(folder, file), "utf8").trim().split("\n").map((text) => JSON.parse(text));
    assert.deepEqual(lines.map((one) => one.kind), ["header", "answer", "answer"]);
    assert.equal(lines[2].given, "no window: no hurry");
  });
  stop(started);
  rmSync(folder, { recursive: true, force: true });
  await close(here);
}
