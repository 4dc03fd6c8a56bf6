// What stands on the page: takes a card, sets its texts as texts, runs the figure between two cards.

import { figure } from "./clock.js";

const $ = (id) => document.getElementById(id);

/** How long words for a screen reader stand, in milliseconds: long enough to be fetched. */
const UTTERED = 3000;

function set(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

function showText(node, text) {
  set(node, text ?? "");
  node.hidden = !text;
}

/** As many children as texts, each of this kind. */
function list(node, kind, texts) {
  while (node.children.length > texts.length) node.lastElementChild.remove();
  while (node.children.length < texts.length) node.append(document.createElement(kind));
  texts.forEach((text, at) => set(node.children[at], text));
}

export class Show {
  constructor(clock) {
    this.clock = clock;
    this.card = null;
    this.stale = true;
    this.still = matchMedia("(prefers-reduced-motion: reduce)");
    this.spoken = {};
    this.uttered = {};
  }

  /** Shows a card; buttons are the caller's. */
  draw(card) {
    this.card = card;
    list($("banners"), "div", card.banners);
    set($("title"), card.title || "Stepbell");
    set($("place"), card.far === null && card.place ? `· ${card.place}` : card.place);
    // In a step its name is what matters, and the line is short.
    $("title").classList.toggle("unseen", card.far !== null);
    const what = card.banners.map((banner) => banner.split(":")[0]);
    document.title = [...what, card.title || "Stepbell"].join(" · ");
    list($("notices"), "p", card.notices);
    const asks = card.question !== null;
    const over = card.ended !== null;
    // Over a step the buttons ask whether to end it; what to do keeps its room.
    const overStep = card.ends !== null && card.lower !== "stop";
    showText($("ask"), over ? card.ended : overStep ? null : card.question);
    $("ask").classList.toggle("caution", asks && card.caution);
    for (const part of ["hands", "act"]) {
      // A question before the run is asked with free hands.
      const hidden = over ? part === "hands" || !card.act : asks && card.ends === null;
      $(part).hidden = hidden;
      $(`${part}-head`).hidden = hidden;
      set($(part), card[part]);
    }
    $("act").classList.toggle("caution", !asks && card.caution);
    showText($("hold"), card.hold);
    list($("vehicle"), "p", card.vehicle.map((line) => `Vehicle: ${line}`));
    list($("details"), "p", card.details);
    showText($("next"), card.next && `Next: ${card.next}`);
    list($("remarks"), "li", card.remarks);
    $("remarks").hidden = card.remarks.length === 0;
    this.drawWindow();
    const stands = `${card.ended ?? ""}|${card.question ?? ""}|${card.act}`;
    if (stands !== this.stood) {
      this.stood = stands;
      // Where text is so large that it scrolls, what is new to do stands at the top.
      for (const part of ["upper", "read", "lower"]) $(part).scrollTop = 0;
    }
    this.speak();
  }

  drawWindow() {
    const { window: open, count, far } = this.card;
    const there = open !== null || count !== null || far !== null;
    $("window").hidden = !there;
    // What binds the count goes with it.
    showText($("why"), this.stale || this.over ? null : (count?.why ?? null));
    if (!there) return;
    $("window").className = this.stale ? "stale" : `${open?.state ?? ""} ${far === "NOW" ? "now" : ""}`;
    $("window").classList.toggle("bare", count === null);
    set($("far"), this.stale ? "STALE" : (far ?? ""));
    set($("mark"), this.stale ? "" : (open?.mark ?? ""));
    set($("words"), this.stale ? "" : (open?.words ?? ""));
    $("track").hidden = count === null || this.stale;
    this.shown = null;
    this.tick();
  }

  /** The guide has been silent for too long, or speaks again. */
  setStale(stale) {
    if (stale === this.stale) return;
    this.stale = stale;
    $("stale").hidden = !stale || this.over;
    if (this.card) this.drawWindow();
    if (stale && !this.over) this.cry("No word from the guide. Look at the computer.");
  }

  get over() {
    // A replay that holds its last frame can still be moved.
    return this.card !== null && this.card.ended !== null && this.card.head === null;
  }

  /** What is left of the count, in milliseconds; nothing where it is not known. */
  get left() {
    const count = this.card?.count;
    if (!count || this.stale) return null;
    if (this.card.at !== null) return count.to - this.card.at;
    return this.clock.known ? count.to - this.runTime() : null;
  }

  /** The run's time now: in a slower rehearsal it goes slower than the device's. */
  runTime() {
    return (this.clock.now() * (this.card?.pace ?? 1000)) / 1000;
  }

  /** The figure and the bar as they are now. */
  tick() {
    const count = this.card?.count;
    if (!count) {
      set($("figure"), "");
      set($("counts"), "");
      return;
    }
    const left = this.left;
    const text = left === null ? "--" : figure(left);
    const fresh = text !== this.shown;
    if (fresh) {
      this.shown = text;
      set($("figure"), text);
      set($("counts"), left === null ? "" : `${count.before}${count.before ? text : ""}${count.after}`.trim());
    }
    if (left !== null && (fresh || !this.still.matches)) {
      const whole = Math.max(1, count.to - count.since);
      const part = Math.min(1, Math.max(0, left / whole));
      $("bar").style.transform = `scaleX(${part.toFixed(4)})`;
    }
  }

  /** Says what has changed to a screen reader: what to do at once, the rest when it is free. */
  speak() {
    const { card } = this;
    const words = {
      ask: card.ended ?? card.question ?? "",
      act: card.question ? "" : card.act,
      mark: [card.far ?? "", card.window?.words ?? ""].join(" ").trim(),
      notices: card.notices.join(" "),
      remarks: card.remarks.join(" "),
      vehicle: card.vehicle.join(". "),
    };
    const fresh = (name) => words[name] && words[name] !== this.spoken[name];
    const urgent = ["mark", "ask"].filter(fresh).map((name) => words[name]);
    const polite = ["notices", "vehicle", "act", "remarks"].filter(fresh).map((name) => words[name]);
    if (urgent.length > 0) this.cry(urgent.join(" "));
    if (polite.length > 0) this.utter("polite", polite.join(" "));
    this.spoken = words;
  }

  /** Puts words where a screen reader hears them, and takes them away: they are not true for ever. */
  utter(where, text) {
    set($(where), text);
    clearTimeout(this.uttered[where]);
    this.uttered[where] = setTimeout(() => set($(where), ""), UTTERED);
  }

  cry(text) {
    this.utter("urgent", text);
  }

  /** A short word about a press. */
  tell(text) {
    set($("told"), text);
    clearTimeout(this.telling);
    if (text) this.telling = setTimeout(() => set($("told"), ""), 4000);
  }
}
