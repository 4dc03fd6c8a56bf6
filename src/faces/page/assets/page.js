// The page: ties the line to the guide, what stands here, sounds and presses together.

import { Clock } from "./clock.js";
import { Link, STALE } from "./link.js";
import { Replay } from "./replay.js";
import { Show } from "./show.js";
import { Sound } from "./sound.js";

const $ = (id) => document.getElementById(id);

/** The same press again so soon is a double tap; the guide's side has the same rule. */
const TWICE = 700;
const WHY = {
  old: "Not taken: it was for what stood here before.",
  watches: "Not taken: another page leads.",
  "not-helper": "Not taken: this is not the helper's step.",
  "not-begun": "The run has not begun yet.",
  unsent: "NOT SENT. Press at the computer.",
  refused: "Not taken. Press at the computer.",
  unknown: "Not taken.",
  twice: "",
};

const clock = new Clock();
const show = new Show(clock);
const sound = new Sound();
const link = new Link(clock, { card, you, heard, gone, age });
const replay = new Replay((what) => (what.press === "move" ? move(what) : press(what)));

/** Whether this page was tapped since it was loaded: only then may it sound. */
let tapped = false;
let me = { role: "watches", page: 0, leader: null, gone: false, armed: false, aloud: false };
/** Whether the first tap has been, perhaps before a reload: from then on the press keeps its place. */
const ready = () => tapped || me.armed;
/** The press that would end the run and was waved away here, until another is asked about. */
let waved = null;
let last = { press: "", at: -Infinity };
let gone_for_good = false;

link.how = () => ({ visible: document.visibilityState === "visible", sound: sound.state, armed: tapped });

// --- what comes from the guide

function card(data) {
  if (data.ends?.press !== waved) waved = null;
  show.draw(data);
  if (show.over) link.over = true;
  draw();
}

function you(data) {
  const before = me;
  me = data;
  if (before.role !== me.role && before.page) {
    show.tell(me.role === "leads" ? "This page leads now." : me.role === "helps" ? "This page reports for the helper." : `This page watches: page ${me.leader} leads.`);
  }
  draw();
}

function heard(data) {
  const late = clock.known ? show.runTime() - data.at - clock.error : 0;
  sound.hear(data, Math.max(0, late));
}

function gone() {
  gone_for_good = true;
  link.over = true;
  show.setStale(true);
  draw();
}

function age(milliseconds) {
  const stale = milliseconds > STALE || gone_for_good;
  if (stale === show.stale) return;
  show.setStale(stale);
  draw();
}

// --- the lower half

/** What the lower half is for now: the first tap, a press, an answer, or only to say something. */
function mode() {
  if (show.over) return { kind: "over" };
  if (show.stale || !show.card || !me.page) return { kind: "lost" };
  if (!ready()) return { kind: "arm" };
  if (me.role === "watches") return { kind: "watch" };
  if (show.card.replay) return { kind: "replay" };
  if (me.role === "helps" && !show.card.helper) return { kind: "idle" };
  return { kind: show.card.lower };
}

function draw() {
  const { kind } = mode();
  const { card } = show;
  const presses = ready() && me.role !== "watches" && !show.stale && !show.over;
  $("tools").hidden = !presses || Boolean(card?.head);
  for (const button of $("tools").children) {
    const name = button.dataset.press;
    const asked = card !== null && card.question !== null && card.ends === null;
    button.hidden = (me.role === "helps" && ["hold", "stop", "back"].includes(name)) || (asked && ["else", "slip", "hold"].includes(name)) || (card?.replay && name !== "stop");
    if (button.dataset.press === "else") button.setAttribute("aria-expanded", String(card?.listed ?? false));
  }
  const typing = presses && (kind === "text" || kind === "number") && !(card.picks.length > 0);
  $("form").hidden = !typing;
  if (typing) {
    $("text").inputMode = kind === "number" ? "decimal" : "text";
    if ($("label").textContent !== card.question) {
      $("label").textContent = card.question;
      $("text").value = "";
    }
  }
  $("offer").hidden = tapped || ["arm", "over", "lost"].includes(kind);
  drawAnswers(kind, presses);
  drawPair(kind, presses);
  replay.draw(card, kind === "replay");
  foot();
}

/** Who leads, on a page that only watches. */
function watched() {
  if (me.leader === null) return ["NO PAGE LEADS", "lead from here, or press at the computer"];
  if (me.gone) return [`PAGE ${me.leader} IS GONE`, "it led: lead from here, or press at the computer"];
  return [`PAGE ${me.leader} LEADS`, "this page watches"];
}

function drawPair(kind, presses) {
  const { card } = show;
  const lists = card?.listed && ready() && me.role !== "watches" && !show.stale && !show.over;
  const big = {
    over: card?.replay ? ["REPLAY CLOSED", "nothing more is shown"] : ["THE RUN IS OVER", ""],
    lost: ["NOT CONNECTED", gone_for_good ? "This page belongs to a run that is over." : "Press at the computer."],
    arm: ["TURN SOUND ON", card?.readable ? "Not encrypted: whoever can read this network can press too." : "the first tap"],
    watch: watched(),
    replay: ["REPLAY", "it is only shown again"],
    idle: ["WAIT", "not the helper's step"],
    stop: ["NO, GO ON", "the run does not end"],
  }[kind] ?? [card?.big.word ?? "", card?.big.says ?? ""];
  $("word").textContent = big[0];
  $("says").textContent = big[1];
  const acts = !["over", "lost", "watch", "idle", "replay"].includes(kind);
  $("big").setAttribute("aria-disabled", String(!acts));
  $("big").classList.toggle("idle", acts && kind !== "arm" && kind !== "stop" && card?.big.live === false);
  // In a rehearsal: each tap is one touch, or one stroke of a count.
  $("touch").hidden = !(presses && card.touch && kind === "done");
  $("no").hidden = !(kind === "yes-no" || kind === "arm");
  $("no").textContent = kind === "arm" ? "silent" : "NO";
  const chosen = kind === "choice" || (card?.picks.length > 0 && kind === "number");
  $("pair").hidden = Boolean(lists) || chosen || (kind === "replay" && Boolean(card.head));
}

/** Buttons above the big one: answers, what to type with one tap, an end to confirm, or the lead. */
function drawAnswers(kind, presses) {
  const { card } = show;
  let buttons = [];
  const asks = card?.ends && card.ends.press !== waved ? card.ends : null;
  if (presses && asks) {
    buttons.push({ text: asks.word, press: { press: asks.press } });
    if (kind !== "stop") buttons.push({ text: "No, go on", act: wave });
  }
  if (presses && card.picks.length > 0) {
    buttons = buttons.concat(card.picks.map((text) => ({ text, press: { press: "typed", text } })));
  }
  if (presses && kind !== "replay" && !asks) {
    const shown = card.listed ? card.answers : card.answers.filter((one) => one.own);
    buttons = buttons.concat(shown.map((one) => ({ text: one.text, times: one.times, press: { press: "answer", number: one.number } })));
  }
  if (presses && card.listed && kind !== "choice") buttons.push({ text: "close this list", press: { press: "else" } });
  if (kind === "watch") {
    buttons = [
      { text: "Lead from here", act: () => link.role("leads") },
      { text: "Report for the helper", act: () => link.role("helps") },
    ];
  }
  if (ready() && me.role === "helps" && !show.stale && !show.over) {
    buttons.push({ text: "Watch only", act: () => link.role("watches") });
  }
  const box = $("answers");
  box.classList.toggle("picks", presses && card.picks.length > 0);
  box.classList.toggle("all", presses && (card.listed || kind === "choice" || card.picks.length > 0));
  const key = JSON.stringify(buttons.map(({ text, times, press }) => [text, times, press]));
  // What stands there is left alone while it is the same: a finger or the focus may be on it.
  if (box.dataset.key === key) return;
  box.dataset.key = key;
  box.replaceChildren(...buttons.map(answerButton));
}

function answerButton({ text, times, press: what, act }) {
  const button = document.createElement("button");
  button.type = "button";
  if (times) {
    const mark = document.createElement("span");
    mark.className = "times";
    mark.setAttribute("aria-hidden", "true");
    mark.textContent = `×${times}`;
    button.append(mark);
  }
  button.append(text);
  button.addEventListener("click", () => (act ? act() : press(what)));
  return button;
}

/** One line about this page itself. */
function foot() {
  const { card } = show;
  const heardHere = { on: "sound on", off: "silent", interrupted: "SOUND LOST: tap the big button" }[sound.state];
  const parts = [
    ready() ? `this is page ${me.page}` : "",
    ready() ? heardHere : "",
    ready() && !sound.lit ? "screen may go dark" : "",
    card?.record ?? "",
    ...(card?.asides ?? []),
  ];
  const text = parts.filter(Boolean).join(" · ");
  if ($("foot").textContent !== text) $("foot").textContent = text;
}

// --- presses

function wave() {
  waved = show.card?.ends?.press ?? null;
  draw();
}

async function press(what) {
  const now = performance.now();
  if (what.press === last.press && what.press !== "act" && now - last.at < TWICE) return;
  last = { press: what.press, at: now };
  // A tap is also a chance to bring a lost sound back, be it lost by a reload.
  if (sound.state === "interrupted" || (!tapped && me.aloud)) bring();
  sound.stayLit().then(foot);
  $("big").classList.add("sent");
  const why = await link.press({ ...what, turn: show.card?.turn ?? 0 });
  $("big").classList.remove("sent");
  const text = why === null ? "" : (WHY[why] ?? WHY.refused);
  show.tell(text);
  if (why === "unsent") {
    navigator.vibrate?.([300, 100, 300]);
    show.cry(text);
  }
}

/** A move of a replay: it comes as often as a finger slides. */
async function move(what) {
  const why = await link.press({ ...what, turn: show.card?.turn ?? 0 });
  if (why !== null) show.tell(WHY[why] ?? WHY.refused);
}

/** Brings the sound back that was on before, without a word: the tap was for something else. */
function bring() {
  tapped = true;
  sound.turnOn().catch(() => false).then(draw);
}

async function arm(aloud) {
  const first = !ready();
  tapped = true;
  $("offer").hidden = true;
  if (first) $("word").textContent = "one moment…";
  const could = aloud ? await sound.turnOn().catch(() => false) : true;
  await sound.stayLit();
  await link.say();
  if (!could) show.tell("No sound could be had: watch the page and the computer.");
  else if (aloud) {
    sound.try();
    show.tell("Did you hear two tones? If not: the phone's volume.");
  }
  draw();
}

$("big").addEventListener("click", () => {
  const { kind } = mode();
  if (kind === "arm") arm(true);
  else if (kind === "stop") wave();
  else if (kind === "text" || kind === "number") send();
  else if (["done", "yes-no"].includes(kind)) press({ press: "done" });
});

$("offer").addEventListener("click", () => arm(true));
$("touch").addEventListener("click", () => press({ press: "act" }));
$("no").addEventListener("click", () => {
  if (mode().kind === "arm") arm(false);
  else press({ press: "else" });
});

for (const button of $("tools").children) {
  button.addEventListener("click", () => press({ press: button.dataset.press }));
}

function send() {
  const text = $("text").value.trim();
  if (text) press({ press: "typed", text });
  else $("text").focus();
}

$("form").addEventListener("submit", (event) => {
  event.preventDefault();
  send();
});

// --- what befalls the page

document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") {
    // The device may have slept, and its clock with it.
    clock.forget();
    link.ask(5);
    if (tapped) sound.stayLit().then(foot);
  }
  link.say(true);
});
addEventListener("pagehide", () => link.say(true));
sound.changed = () => {
  link.say();
  draw();
};

function frame() {
  show.tick();
  requestAnimationFrame(frame);
}

// The secret leaves the address line; the session's cookie goes on.
history.replaceState(null, "", "/");
link.start();
draw();
frame();
