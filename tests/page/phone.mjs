// A person at a phone: takes a page in a browser, reads what stands there, taps what a person would tap.

import { readFileSync } from "node:fs";
import { phone } from "./browser.mjs";

const WATCH = readFileSync(new URL("watch.js", import.meta.url), "utf8");
/** A press that came too early is tried again after this. */
const AGAIN = 720;

export class Person {
  /** Opens the page of a run in a browser of its own. */
  static async at(driven, address, options = {}) {
    const person = new Person();
    Object.assign(person, await phone(driven, options));
    await person.page.addInitScript(WATCH);
    await person.page.goto(address);
    await person.until(() => document.getElementById("read").textContent.length > 20);
    return person;
  }

  until(holds, patience = 15_000, argument) {
    return this.page.waitForFunction(holds, argument, { timeout: patience, polling: 20 });
  }

  /** Waits until this text stands there, seen by a person. */
  sees(text, patience) {
    const holds = (text) => document.body.innerText.includes(text);
    return this.until(holds, patience, text);
  }

  seen() {
    return this.page.evaluate(() => ({ ...window.seen, contexts: undefined }));
  }

  state() {
    return this.page.evaluate(() => {
      const text = (id) => document.getElementById(id).textContent;
      const shown = (id) => !document.getElementById(id).hidden;
      return {
        word: text("word"),
        ask: shown("ask") ? text("ask") : "",
        act: text("act"),
        idle: document.getElementById("big").classList.contains("idle"),
        types: shown("form"),
        picks: shown("pair") ? 0 : document.querySelectorAll("#answers button").length,
      };
    });
  }

  /** Taps what leads on, once; gives what stood there. */
  async lead() {
    const now = await this.state();
    if (now.picks > 0) await this.page.tap("#answers button");
    else if (now.types) {
      await this.page.fill("#text", "X1");
      await this.page.tap("#big");
    } else if (!now.idle && now.word !== "THE RUN IS OVER") await this.page.tap("#big");
    return now;
  }

  /**
   * Leads on by taps until this holds; gives every different thing that stood there. `slow`: how long an act
   * takes, so that its figure is seen to run.
   */
  async leadUntil(holds, slow = 0, patience = 60_000) {
    const stood = [];
    const late = Date.now() + patience;
    while (Date.now() < late) {
      const now = await this.state();
      const key = `${now.ask}|${now.act}|${now.word}`;
      const fresh = stood.at(-1) !== key;
      if (fresh) stood.push(key);
      if (holds(now)) return stood;
      if (fresh && now.word === "DONE") await this.page.waitForTimeout(slow);
      await this.lead();
      await this.page.waitForTimeout(AGAIN);
    }
    throw new Error(`it never came; what stood there:\n${stood.join("\n")}`);
  }
}
