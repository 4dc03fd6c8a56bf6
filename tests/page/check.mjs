// The page in a real browser during real runs. Each check is a sentence; the first that does not hold ends
// all, with what stood there. STEPBELL names the program, SHOTS a folder for pictures of what was seen.

import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { browser } from "./browser.mjs";
import { Person } from "./phone.mjs";
import { run, wall, zero } from "./program.mjs";
import { besides, drills, replayed } from "./replay.mjs";

const TINY = "tests/terminal/tiny.bell";
/** The same with times for a busy computer, and a step for the helper. */
const LED = "tests/page/led.bell";
const AXE = readFileSync(new URL("node_modules/axe-core/axe.min.js", import.meta.url), "utf8");
/** The rules of WCAG 2.2, levels A and AA, and those that are only good practice. */
const RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
/** Two frames of a browser that draws 60 in a second. One that drew nothing for longer was starved. */
const FRAMES = 40;
/** The least side of anything that is tapped, in CSS pixels: gloves (the project's own choice). */
const TARGET = 48;

const shots = process.env.SHOTS;
if (shots) mkdirSync(shots, { recursive: true });
const { driven, end } = await browser();
const guides = new Set();
const people = new Set();

async function guide(...words) {
  const started = await run(["guide", ...words]);
  guides.add(started);
  return started;
}

async function show(...words) {
  const started = await run(["replay", ...words]);
  guides.add(started);
  return started;
}

async function person(address, options) {
  const here = await Person.at(driven, address, options);
  people.add(here);
  return here;
}

async function close(here) {
  people.delete(here);
  assert.deepEqual(here.troubles, [], "nothing goes wrong in the page");
  assert.equal(new Set(here.outside).size, 1, `only the guide is asked: ${[...new Set(here.outside)]}`);
  assert.deepEqual((await here.seen()).policy, [], "the page keeps its own policy");
  await here.context.close();
}

async function stop(started) {
  guides.delete(started);
  started.child.kill();
  await started.ended;
}

async function shot(here, name) {
  if (shots) await here.page.screenshot({ path: join(shots, `${name}.png`) });
}

let steps = 0;
async function check(says, does) {
  const begun = performance.now();
  await does();
  steps += 1;
  console.log(`ok ${says} (${((performance.now() - begun) / 1000).toFixed(1)} s)`);
}

/**
 * What the automated checker finds, and targets that are too small for a glove; that nothing runs
 * out of the side, and what to do is seen without scrolling.
 */
async function reads(here, name) {
  await here.page.evaluate(AXE);
  const found = await here.page.evaluate((rules) => axe.run(document, { runOnly: rules }), RULES);
  const told = found.violations.map((one) => `${one.id}: ${one.help}\n  ${one.nodes.map((node) => node.html).join("\n  ")}`);
  assert.deepEqual(told, [], `${name}: the checker has nothing to say`);
  assert.ok(found.passes.length > 10, `${name}: the checker has looked`);
  const small = await here.page.evaluate((least) => {
    const targets = [...document.querySelectorAll("button, input")].filter((one) => one.checkVisibility());
    const boxes = targets.map((one) => [one.textContent || one.id, one.getBoundingClientRect()]);
    return boxes.filter(([, box]) => box.width < least || box.height < least).map(([text, box]) => `${text} ${box.width}×${box.height}`);
  }, TARGET);
  assert.deepEqual(small, [], `${name}: every target fits a glove`);
  const wide = await here.page.evaluate((width) => {
    const shown = [...document.querySelectorAll("body *:not(.unseen)")].filter((one) => one.checkVisibility());
    return shown.filter((one) => one.getBoundingClientRect().right > width + 1).map((one) => `${one.id} ${one.textContent}`);
  }, here.page.viewportSize().width);
  assert.deepEqual(wide, [], `${name}: nothing runs out of the side`);
  const cut = await here.page.evaluate(() => {
    const [act, read] = ["act", "read"].map((id) => document.getElementById(id).getBoundingClientRect());
    return act.height > 0 && act.bottom > read.bottom + 1;
  });
  assert.equal(cut, false, `${name}: what to do stands there whole, without scrolling`);
  await shot(here, name);
}

/** Screens on which text is made twice as large: a phone, and the narrowest of WCAG 2.2, 1.4.10. */
const SMALL = [{ width: 390, height: 664 }, { width: 320, height: 480 }];

/** At 200 % a longer word may not fit on the narrowest screen. */
const LONG = 10;

/** With text at 200 % nothing is cut, no word is broken, nothing goes sideways, every button is reached. */
async function readsLarge(here, name) {
  const before = here.page.viewportSize();
  for (const viewport of SMALL) {
    const which = `${name}-${viewport.width}`;
    await here.page.setViewportSize(viewport);
    await here.page.evaluate(() => {
      const root = document.documentElement;
      root.style.fontSize = "";
      root.style.fontSize = `${2 * parseFloat(getComputedStyle(root).fontSize)}px`;
    });
    await here.page.waitForTimeout(100);
    const found = await here.page.evaluate(([width, LONG]) => {
      const found = [];
      if (innerWidth > width || document.documentElement.scrollWidth > width) found.push(`the page is ${innerWidth} wide`);
      const shown = [...document.querySelectorAll("body, body *:not(.unseen)")].filter((one) => one.checkVisibility());
      for (const one of shown) {
        const what = `${one.tagName} ${one.id} ${one.textContent.trim().slice(0, 30)}`;
        const box = one.getBoundingClientRect();
        if (box.right > width + 1 || box.left < -1) found.push(`out of the side: ${what}`);
        const flows = getComputedStyle(one).display !== "inline";
        if (flows && one.scrollWidth > one.clientWidth + 1) found.push(`too wide: ${what}`);
        const still = ["hidden", "clip"].includes(getComputedStyle(one).overflowY);
        if ((one.matches("button") || still) && one.scrollHeight > one.clientHeight + 1) found.push(`cut: ${what}`);
      }
      // Each word stands in one row, but for those that are longer than a row of the widest letters.
      const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
      while (texts.nextNode()) {
        const text = texts.currentNode;
        if (!text.parentElement.checkVisibility() || text.parentElement.closest(".unseen")) continue;
        for (const word of text.data.matchAll(/\S+/g)) {
          if (word[0].length > LONG) continue;
          const range = document.createRange();
          range.setStart(text, word.index);
          range.setEnd(text, word.index + word[0].length);
          const rows = [...range.getClientRects()].filter((box) => box.width > 0).map((box) => Math.round(box.top));
          if (new Set(rows).size > 1) found.push(`broken: ${word[0]}`);
        }
      }
      // Scrolled to, everything to press and to read stands there with nothing over it.
      for (const one of document.querySelectorAll("button, input, #act, #ask, #figure, #state")) {
        if (!one.checkVisibility() || one.textContent.trim() + one.id === "" || one.matches("#told")) continue;
        one.scrollIntoView({ block: "center" });
        const box = one.getBoundingClientRect();
        if (box.height === 0) continue;
        const there = document.elementFromPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2);
        if (!there || !(one.contains(there) || there.contains(one))) found.push(`not reached: ${one.id} ${one.textContent}`);
      }
      for (const id of ["upper", "read", "lower"]) document.getElementById(id).scrollTop = 0;
      return found;
    }, [viewport.width, LONG]);
    assert.deepEqual(found, [], `${which}: nothing is cut at 200 %`);
    await shot(here, which);
  }
  await here.page.evaluate(() => (document.documentElement.style.fontSize = ""));
  await here.page.setViewportSize(before);
}

/** Shown counts and their moments, from the record of a run. */
function counts(folder) {
  const [name] = readdirSync(folder).filter((file) => file.endsWith(".jsonl"));
  const lines = readFileSync(join(folder, name), "utf8").trim().split("\n").map((line) => JSON.parse(line));
  return { lines, shown: lines.filter((line) => line.what?.effect === "show").map((line) => ({ at: line.at, count: line.what.count })) };
}

async function wholeRun() {
  const folder = mkdtempSync(join(tmpdir(), "stepbell-records-"));
  const started = await guide(TINY, "--record", folder, "--page");
  const here = await person(started.address);

  await check("the secret leaves the address line, and a reload finds the page again", async () => {
    assert.equal(new URL(here.page.url()).pathname, "/");
    await here.page.reload();
    await here.sees("TURN SOUND ON");
  });
  await check("before the first tap it is silent; the first tap turns the sound on", async () => {
    await reads(here, "01-first-tap");
    await here.page.waitForTimeout(300);
    assert.equal((await here.seen()).peak, 0);
    await here.page.tap("#big");
    await here.sees("sound on");
    await here.until(() => window.seen.peak > 0.05);
    assert.equal(await here.page.evaluate(() => window.seen.contexts[0].state), "running");
  });
  await check("a sound that is cut fades, and does not click", async () => {
    // The page's own code, rendered without a loudspeaker: a steady level, cut after a tenth of a second.
    const { steady, after, step } = await here.page.evaluate(async () => {
      const { Sound } = await import("/sound.js");
      const [rate, cut] = [44_100, 4410];
      const offline = new OfflineAudioContext(1, rate / 2, rate);
      const sound = Object.assign(new Sound(), { context: offline, out: offline.destination });
      const level = offline.createBuffer(1, rate, rate);
      level.getChannelData(0).fill(1);
      sound.cut(sound.start(level, 0, sound.tones), cut / rate);
      const samples = [...(await offline.startRendering()).getChannelData(0)];
      const steps = samples.slice(1).map((one, ix) => Math.abs(one - samples[ix]));
      return { steady: Math.min(...samples.slice(1, cut)), after: Math.max(...samples.slice(cut + rate / 100)), step: Math.max(...steps.slice(1)) };
    });
    assert.ok(steady > 0.999 && after === 0, `${steady} before the cut, ${after} 10 ms later`);
    assert.ok(step < 0.01, `a step of ${step}`);
  });
  await check("this computer's own browser keeps its screen lit", async () => {
    assert.equal((await here.page.textContent("#foot")).includes("screen may go dark"), false);
  });
  await check("every question and every step is confirmed by taps, to the end", async () => {
    await here.page.evaluate(() => (window.seen.peak = 0));
    const stood = await here.leadUntil((now) => now.word === "THE RUN IS OVER", 3200);
    assert.ok(stood.some((one) => one.includes("Press the start button.") && one.includes("DONE")), stood);
    assert.ok(stood.some((one) => one.includes("Hold the working key") && one.includes("DONE")), stood);
    await here.sees("ENDED: learned");
    assert.equal(await started.ended, 0);
    const seen = await here.seen();
    assert.ok(seen.peak > 0.05, `cues were heard: peak ${seen.peak}`);
    assert.ok(seen.vibrations > 0, "cues were felt");
    await reads(here, "09-ended");
    assert.equal(await here.page.isHidden("#stale"), true, "a run that is over is not stale");
  });
  await check("the figure changes within 50 ms of the guide's own clock, and is never ahead of it", async () => {
    const { shown, lines } = counts(folder);
    const begun = zero(started.lines);
    const { figures } = await here.seen();
    const late = [];
    const starved = [];
    figures.forEach(({ text, at, drawn }, nth) => {
      const [, seconds] = text.match(/^(\d+) s$/) ?? [];
      const before = figures[nth - 1]?.text.match(/^(\d+) s$/)?.[1];
      // Only where one figure gives way to the next by itself, not where another count begins.
      if (seconds === undefined || before === undefined || Number(before) !== Number(seconds) + 1) return;
      const run = at - begun;
      const to = shown.filter((one) => one.at <= run + 5).at(-1)?.count?.to;
      if (to === undefined) return;
      const off = (Number(seconds) + 1) * 1000 - (to - run);
      // A change that another count brought about by chance.
      if (Math.abs(off) < 500) (drawn > FRAMES ? starved : late).push(off);
    });
    assert.ok(late.length >= 3, `there were changes to look at: ${late.length} of ${figures.length}`);
    const worst = Math.max(...late.map(Math.abs));
    const told = (all) => all.map((ms) => ms.toFixed(0)).join(", ");
    console.log(`   ${late.length} changes, late by ${told(late)} ms; the browser drew too seldom for ${starved.length}: ${told(starved)} ms`);
    assert.ok(Math.min(...late, ...starved) > -5, "no figure is larger than the true one");
    assert.ok(worst <= 50, `off by ${worst} ms`);
    const senders = lines.filter((line) => line.kind === "input" && line.from).map((line) => line.from.page);
    assert.ok(senders.length > 5 && senders.every((page) => page === 1), "the record says which page pressed");
  });
  guides.delete(started);
  await close(here);
  rmSync(folder, { recursive: true });
}

async function losses() {
  const started = await guide(LED, "--no-record", "--page");
  const here = await person(started.address);
  await here.page.tap("#big");
  await here.sees("sound on");
  const step = (now) => now.act.includes("Hold the working key") && now.word === "DONE";
  await here.leadUntil(step);
  await reads(here, "05-acting");

  await check("a second phone watches, sees the same, and cannot press", async () => {
    const other = await person(started.address, { colorScheme: "dark" });
    await other.page.tap("#no");
    await other.sees("PAGE 1 LEADS");
    await other.sees("Hold the working key against the button.");
    await reads(other, "06-watching");
    assert.equal(await other.page.isHidden("#tools"), true);
    assert.equal(await other.page.getAttribute("#big", "aria-disabled"), "true");
    await close(other);
  });
  await check("a guide that stands still makes the page stale within 1.5 s; it comes back with everything", async () => {
    const asked = wall();
    started.child.kill("SIGSTOP");
    await here.until(() => !document.getElementById("stale").hidden, 5000);
    const after = wall() - asked;
    console.log(`   stale after ${after.toFixed(0)} ms`);
    assert.ok(after <= 1500, `${after} ms`);
    assert.equal(await here.page.textContent("#figure"), "--");
    assert.equal(await here.page.textContent("#word"), "NOT CONNECTED");
    await reads(here, "07-stale");
    started.child.kill("SIGCONT");
    await here.until(() => document.getElementById("stale").hidden, 5000);
    await here.until(() => /\d/.test(document.getElementById("figure").textContent) || document.getElementById("word").textContent === "THE RUN IS OVER");
  });
  await check("a page that is hidden, and one whose sound was taken away, are told of at the computer", async () => {
    await here.page.evaluate(() => {
      Object.defineProperty(document, "visibilityState", { value: "hidden", configurable: true });
      document.dispatchEvent(new Event("visibilitychange"));
    });
    await started.until(/page 1, which leads, is hidden/);
    await here.page.evaluate(() => {
      delete document.visibilityState;
      document.dispatchEvent(new Event("visibilitychange"));
      return window.seen.contexts[0].suspend();
    });
    await started.until(/page 1, which leads, has lost its sound/);
    assert.ok((await here.page.textContent("#foot")).includes("SOUND LOST"));
  });
  await check("a guide that is gone makes the page stale within 1.5 s", async () => {
    const fresh = await person((await guide(LED, "--no-record", "--page")).address);
    const last = [...guides].at(-1);
    const asked = wall();
    guides.delete(last);
    last.child.kill("SIGKILL");
    await fresh.until(() => !document.getElementById("stale").hidden, 5000);
    const after = wall() - asked;
    console.log(`   stale after ${after.toFixed(0)} ms`);
    assert.ok(after <= 1500, `${after} ms`);
    fresh.troubles.length = 0;
    await close(fresh);
  });
  here.troubles.length = 0;
  await stop(started);
  await close(here);
}

async function lines() {
  const started = await guide(LED, "--no-record", "--page");
  const here = await person(started.address, { viewport: { width: 320, height: 568 }, colorScheme: "dark" });
  await here.page.tap("#no");
  await check("a reload keeps the lead, and everything stands there again", async () => {
    await here.leadUntil((now) => now.ask.includes("own this vehicle"));
    await here.page.reload();
    await here.sees("own this vehicle");
    await here.sees("this is page 1");
    assert.equal((await here.state()).word, "YES", "the press is there without another first tap");
    await reads(here, "02-question-small-dark");
  });
  await check("another phone takes the lead, and the first one is told", async () => {
    const other = await person(started.address, { viewport: { width: 844, height: 390 } });
    await other.page.tap("#no");
    await other.page.tap("text=Lead from here");
    await here.sees("This page watches: page 2 leads.");
    await other.sees("This page leads now.");
    await reads(other, "03-question-across");
    await here.page.tap("text=Lead from here");
    await here.sees("This page leads now.");
    await close(other);
  });
  await check("something else lists the answers and leaves the countdown alone", async () => {
    await here.leadUntil((now) => now.act.includes("Hold the working key") && now.word === "DONE");
    await here.page.tap("[data-press=else]");
    await here.sees("none of these");
    assert.match(await here.page.textContent("#figure"), /\d/);
    await reads(here, "04-something-else-small-dark");
    // Sooner it would be the second tap of a double one, which does not count.
    await here.page.waitForTimeout(750);
    await here.page.tap("text=close this list");
    await here.until(() => !document.getElementById("pair").hidden);
  });
  await check("a slip that ends the run asks first, says how it would end, and can be waved away", async () => {
    await here.page.tap("[data-press=slip]");
    await here.sees("END THE RUN: UNSURE");
    assert.match(await here.page.textContent("#figure"), /\d/, "the window counts on");
    assert.equal(await here.page.textContent("#word"), "DONE");
    await reads(here, "08-slip-small-dark");
    await here.page.tap("text=No, go on");
    await here.until(() => !document.body.innerText.includes("END THE RUN"));
    await here.page.waitForTimeout(5200);
    assert.match(await here.page.textContent("#act"), /Hold the working key/, "nothing has happened");
  });
  await check("a double tap counts once, stop asks and can be waved away, and a second stop stops", async () => {
    await here.page.tap("[data-press=stop]");
    await here.page.tap("[data-press=stop]");
    await here.sees("STOP NOW");
    await reads(here, "08-stop-small-dark");
    assert.equal(await here.page.textContent("#word"), "DONE");
    await here.page.tap("text=No, go on");
    await here.until(() => !document.body.innerText.includes("STOP NOW"));
    await here.page.waitForTimeout(5200);
    await here.page.tap("[data-press=stop]");
    await here.page.waitForTimeout(750);
    await here.page.tap("text=STOP NOW");
    await here.sees("ENDED: stopped");
  });
  guides.delete(started);
  await started.ended;
  await close(here);
}

async function helper() {
  const started = await guide(LED, "--no-record", "--page");
  const here = await person(started.address);
  await here.page.tap("#no");
  const other = await person(started.address);
  await other.page.tap("#no");
  await check("the helper's page reports the helper's step, and no other", async () => {
    await other.page.tap("text=Report for the helper");
    await other.sees("This page reports for the helper.");
    await here.leadUntil((now) => now.act.includes("Press the start button") && now.word === "DONE");
    await reads(other, "12-helper");
    await other.leadUntil((now) => now.act.includes("Hold the working key"));
    await here.sees("Hold the working key against the button.");
    await other.sees("not the helper's step");
    assert.equal(await other.page.getAttribute("#big", "aria-disabled"), "true");
  });
  await stop(started);
  for (const one of [here, other]) {
    one.troubles.length = 0;
    await close(one);
  }
}

async function keyboard() {
  const started = await guide(TINY, "--no-record", "--page");
  const here = await person(started.address, { hasTouch: false, isMobile: false, reducedMotion: "reduce", viewport: { width: 1024, height: 768 } });
  const focus = () => here.page.evaluate(() => document.activeElement?.id);
  await check("the whole run can be led with the keyboard alone", async () => {
    for (let tabs = 0; (await focus()) !== "big"; tabs += 1) {
      assert.ok(tabs < 10, "the big button is reached by Tab");
      await here.page.keyboard.press("Tab");
    }
    const ring = await here.page.evaluate(() => getComputedStyle(document.activeElement).outlineStyle);
    assert.notEqual(ring, "none", "the focus is seen");
    let acted = false;
    for (let presses = 0; presses < 60; presses += 1) {
      const now = await here.state();
      if (now.word === "THE RUN IS OVER") break;
      assert.equal(await focus(), "big", "the focus stays where it was");
      if (now.word === "DONE" && !acted) {
        acted = true;
        await moved(here);
      }
      if (!now.idle) await here.page.keyboard.press(presses % 2 ? "Enter" : "Space");
      await here.page.waitForTimeout(720);
    }
    await here.sees("ENDED: learned");
  });
  guides.delete(started);
  await started.ended;
  await close(here);
}

/** With less motion asked for, the bar moves with the figure and with nothing else. */
async function moved(here) {
  await check("with less motion asked for, nothing moves between two figures", async () => {
    await here.until(() => document.getElementById("figure").textContent !== "");
    await here.page.evaluate(() => Object.assign(window.seen, { bars: 0, figures: [] }));
    await here.page.waitForTimeout(2100);
    const { bars, figures } = await here.seen();
    assert.ok(figures.length >= 1 && bars <= figures.length + 1, `${bars} moves in ${figures.length} figures`);
    assert.equal(await here.page.evaluate(() => document.getAnimations().length), 0);
    await reads(here, "10-computer");
  });
}

async function hostile() {
  const started = await guide("tests/page/markup.bell", "--no-record", "--page");
  const here = await person(started.address);
  await check("markup in every text of a script is shown as text", async () => {
    here.page.on("dialog", (dialog) => assert.fail(dialog.message()));
    await here.page.tap("#no");
    await here.leadUntil((now) => now.act.includes("Press") && now.word === "DONE");
    const text = await here.page.evaluate(() => document.body.innerText);
    for (const part of ["Press <a href=//x>it</a> &ltnow&gt.", "the working key <img src=x> (one <i>band</i>)", "you see the dash <img src=x> lit"]) {
      assert.ok(text.includes(part), `${part} in\n${text}`);
    }
    const made = await here.page.evaluate(() => document.querySelectorAll("img, iframe, b, i, a, u, textarea, svg, script:not([src])").length);
    assert.equal(made, 0);
    await reads(here, "11-markup");
  });
  await stop(started);
  here.troubles.length = 0;
  await close(here);
}

async function rehearsal() {
  const started = await run(["rehearse", TINY, "--short", "--inside", "--seed", "3", "--pace", "0.5", "--no-record", "--page"]);
  guides.add(started);
  const here = await person(started.address);
  await here.page.tap("#big");
  await here.sees("sound on");
  const signs = async () => {
    const text = await here.page.textContent("#banners");
    for (const sign of ["REHEARSAL: there is no vehicle", "SLOWER: "]) assert.ok(text.includes(sign), text);
    assert.match(await here.page.title(), /^REHEARSAL · SLOWER/);
  };
  await check("a rehearsal says all the time that there is no vehicle, and that it is slower", async () => {
    await signs();
    await here.leadUntil((now) => now.act.includes("Press the start button") && now.word === "DONE");
    await signs();
    await reads(here, "13-rehearsal");
  });
  await check("a tap is the hand at the vehicle, which answers in its own time", async () => {
    await here.page.waitForTimeout(3000);
    await here.page.tap("#touch");
    await here.sees("Vehicle: it felt that");
    await here.sees("Vehicle: you see the dash lit");
    await reads(here, "14-rehearsal-answer");
  });
  await check("the figure of a slower run goes slower than the phone's clock", async () => {
    const { figures } = await here.seen();
    const whole = figures.map(({ text, at }) => [Number(text.match(/^(\d+) s$/)?.[1] ?? NaN), at]);
    const took = whole.flatMap(([left, at], nth) => {
      const [before, earlier] = [whole[nth - 1], whole[nth - 2]];
      return before?.[0] === left + 1 && earlier?.[0] === left + 2 ? [at - before[1]] : [];
    });
    assert.ok(took.length > 0, JSON.stringify(figures));
    // Far enough from a true second also where the browser draws seldom.
    assert.ok(took.every((ms) => Math.abs(ms - 2000) < 500), `a second lasted ${took} ms`);
  });
  await stop(started);
  here.troubles.length = 0;
  await close(here);
}

async function larger() {
  const started = await guide(LED, "--no-record", "--page");
  const here = await person(started.address);
  await check("with text at 200 % nothing is cut and nothing goes sideways, in every state of a run", async () => {
    await here.sees("TURN SOUND ON");
    await readsLarge(here, "30-large-first");
    await here.page.tap("#no");
    await here.leadUntil((now) => now.word === "I UNDERSTAND");
    await readsLarge(here, "31-large-understand");
    await here.leadUntil((now) => now.ask.includes("own this vehicle"));
    await readsLarge(here, "32-large-question");
    await here.leadUntil((now) => now.act.includes("Hold the working key") && now.word === "DONE");
    await readsLarge(here, "33-large-done");
    await here.page.tap("[data-press=else]");
    await here.sees("none of these");
    await readsLarge(here, "34-large-answers");
    await here.page.waitForTimeout(750);
    await here.page.tap("text=close this list");
    await here.page.tap("[data-press=stop]");
    await here.sees("STOP NOW");
    // The word about the press lies over the press for a while.
    await here.until(() => document.getElementById("told").textContent === "");
    await readsLarge(here, "35-large-stop");
    await here.page.tap("text=No, go on");
    await here.until(() => !document.body.innerText.includes("STOP NOW"), 5000);
  });
  await check("after a reload in the middle of a step DONE and the tools are there at once, and a tap reports", async () => {
    const connected = () => here.until(() => document.getElementById("word").textContent === "DONE" && !document.body.innerText.includes("is hidden"), 5000);
    await here.page.reload();
    await here.sees("this is page 1");
    await connected();
    assert.equal(await here.page.isVisible("#tools [data-press=slip]"), true);
    const offer = await here.page.locator("#offer").boundingBox();
    const big = await here.page.locator("#big").boundingBox();
    assert.ok(offer.height >= TARGET && offer.height < big.height, `${offer.height} of ${big.height}`);
    await reads(here, "36-reload");
    await readsLarge(here, "37-large-reload");
    await here.page.tap("#offer");
    await here.sees("sound on");
    assert.equal(await here.page.isHidden("#offer"), true);
    const stood = { says: await here.page.textContent("#says") };
    await here.page.reload();
    await here.sees("this is page 1");
    await connected();
    await here.page.tap("#big");
    await here.sees("sound on");
    await here.until((before) => document.getElementById("says").textContent !== before.says || document.getElementById("word").textContent !== "DONE", 5000, stood);
  });
  await check("at the end only what is true then stands there", async () => {
    await here.leadUntil((now) => now.word === "THE RUN IS OVER");
    // What a screen reader was told before is taken away too.
    await here.until(() => document.getElementById("polite").textContent === "");
    const text = await here.page.evaluate(() => document.body.innerText);
    for (const stale of ["because", "keep still", "NOW", "left to act", "turn sound on"]) assert.ok(!text.includes(stale), `${stale} in\n${text}`);
    await readsLarge(here, "38-large-ended");
  });
  guides.delete(started);
  await started.ended;
  // After the reload some sounds were still being fetched when the guide ended.
  here.troubles.length = 0;
  await close(here);
}

async function closed() {
  const started = await guide(LED, "--no-record", "--page");
  const [first, second, third] = [await person(started.address), await person(started.address), await person(started.address)];
  for (const here of [first, second, third]) await here.page.tap("#no");
  await third.sees("page 1 leads, page 2 watches, page 3 watches");
  await check("a watcher that was closed is forgotten, and a reload keeps the lead", async () => {
    await close(second);
    await first.page.reload();
    await third.until(() => document.body.innerText.includes("page 1 leads, page 3 watches"), 8000);
    await third.sees("PAGE 1 LEADS");
  });
  await check("a leader that was closed is gone, and said so until another page leads", async () => {
    await close(first);
    await third.until(() => document.body.innerText.includes("PAGE 1 IS GONE"), 8000);
    await third.sees("the phone that leads is gone (page 1)");
    await started.until(/the phone that leads is gone/);
    assert.ok(!(await third.page.evaluate(() => document.body.innerText)).includes("hidden"));
    await reads(third, "15-leader-gone");
    await third.page.tap("text=Lead from here");
    await third.sees("This page leads now.");
    await third.until(() => !/page 1|is gone|hidden/.test(document.body.innerText), 6000);
    await third.sees("page 3 leads");
  });
  await stop(started);
  third.troubles.length = 0;
  await close(third);
}

/** A slip told twice, on the way to its end; what is heard there. */
async function endings() {
  const voices = [["none", "by its tone", "tone-missed"]];
  if (spawnSync("espeak-ng", ["--version"]).status === 0) voices.push(["auto", "in words", "own-unsure"]);
  else console.log("SKIPPED: how a run ended, in words: no espeak-ng");
  for (const [voice, how, name] of voices) {
    const started = await guide(LED, "--no-record", "--page", "--voice", voice);
    const here = await person(started.address);
    await check(`how a run ended is heard on the page, ${how}`, async () => {
      await here.page.tap("#big");
      await here.sees("sound on");
      // The length of the guide's own file, worked out from its bytes.
      const length = await here.page.evaluate(async (name) => {
        const file = new DataView(await (await fetch(`/sound/${name}`)).arrayBuffer());
        return (file.byteLength - 44) / file.getUint32(28, true);
      }, name);
      await here.leadUntil((now) => now.act.includes("Hold the working key") && now.word === "DONE");
      await here.page.tap("[data-press=slip]");
      await here.sees("END THE RUN: UNSURE");
      await here.page.waitForTimeout(750);
      const asked = wall();
      await here.page.evaluate(() => (window.seen.peak = 0));
      await here.page.tap("text=END THE RUN");
      await here.sees("ENDED: unsure");
      const ended = (await here.seen()).started.filter((one) => one.at >= asked).map((one) => one.length);
      assert.ok(ended.some((one) => Math.abs(one - length) < 0.01), `${ended} s were started, ${length} s is the end`);
      await here.until(() => window.seen.peak > 0.05, 3000);
    });
    guides.delete(started);
    await started.ended;
    await close(here);
  }
}

async function encrypted() {
  const started = await guide(TINY, "--no-record", "--page", "--https");
  await check("the encrypted page is a secure place, and leads too", async () => {
    const here = await person(started.address, { ignoreHTTPSErrors: true });
    assert.equal(await here.page.evaluate(() => isSecureContext && location.protocol), "https:");
    await here.page.tap("#big");
    await here.sees("sound on");
    await here.leadUntil((now) => now.ask.includes("Local rules"));
    here.troubles.length = 0;
    await close(here);
  });
  await stop(started);
}

try {
  const parts = [wholeRun, losses, lines, helper, keyboard, hostile, larger, closed, endings, encrypted, rehearsal, replayed, besides, drills];
  const tools = { show, person, close, check, reads, stop };
  for (const part of parts.filter((one) => !process.env.ONLY || one.name === process.env.ONLY)) await part(tools);
  console.log(`${steps} checks hold`);
} catch (why) {
  for (const here of people) {
    console.error(await here.page.evaluate(() => document.body.innerText).catch(() => "(no page)"));
    await here.page.screenshot({ path: join(shots ?? tmpdir(), "failed.png") }).catch(() => {});
  }
  console.error(why);
  process.exitCode = 1;
} finally {
  for (const started of guides) started.child.kill("SIGKILL");
  await end();
}
