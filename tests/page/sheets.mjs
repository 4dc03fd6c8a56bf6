// The printed sheets in a real browser: takes a folder of sheets, gives an end with 0 where all hold.
//
// Each sheet, on A4 and on Letter: nothing wider than the paper, no step higher than a page (they are
// kept whole), no colour that a black-and-white printer would lose; and no violation of WCAG 2.2 A and
// AA that axe-core finds. `--pictures FOLDER` keeps what it saw.

import { mkdirSync, readdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { basename, join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { browser } from "./browser.mjs";

const [folder, flag, pictures] = process.argv.slice(2);
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
// Printable CSS pixels at 96 an inch, the margins of the sheet's own style taken off.
const MM = 96 / 25.4;
const PAPERS = [
  { name: "A4", wide: (210 - 24) * MM, high: (297 - 27) * MM },
  { name: "Letter", wide: (215.9 - 24) * MM, high: (279.4 - 27) * MM },
];

const found = [];
const { driven, end } = await browser();
try {
  const sheets = readdirSync(folder).filter((name) => name.endsWith(".html")).sort();
  if (sheets.length === 0) throw new Error(`no sheet in ${folder}`);
  for (const name of sheets) {
    const context = await driven.newContext();
    const page = await context.newPage();
    page.on("request", (asked) => {
      if (!asked.url().startsWith("file:")) found.push(`${name}: asks for ${asked.url()}`);
    });
    await page.goto(pathToFileURL(resolve(folder, name)).href);
    await page.evaluate(axe);
    const seen = await page.evaluate(() =>
      globalThis.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }),
    );
    for (const wrong of seen.violations) {
      found.push(`${name}: ${wrong.id}: ${wrong.help} (${wrong.nodes[0]?.html.slice(0, 120)})`);
    }
    await page.emulateMedia({ media: "print" });
    for (const paper of PAPERS) {
      await page.setViewportSize({ width: Math.floor(paper.wide), height: Math.floor(paper.high) });
      const wrong = await page.evaluate(({ wide, high }) => {
        const all = [];
        if (document.documentElement.scrollWidth > wide + 1) {
          all.push(`${document.documentElement.scrollWidth} px wide of ${Math.floor(wide)}`);
        }
        for (const step of document.querySelectorAll(".step, tr, .alert, figure, .no-return")) {
          const box = step.getBoundingClientRect();
          const what = `${step.className || step.tagName}: ${step.textContent.trim().slice(0, 40)}`;
          if (box.height > high) all.push(`higher than a page: ${what}`);
          if (box.right > wide + 1) all.push(`over the edge: ${what}`);
          if (getComputedStyle(step).breakInside !== "avoid") all.push(`may be split: ${what}`);
        }
        for (const any of document.querySelectorAll("body *")) {
          const style = getComputedStyle(any);
          for (const colour of [style.color, style.backgroundColor, style.borderTopColor]) {
            const [r, g, b, a] = (colour.match(/[\d.]+/g) ?? []).map(Number);
            if (a !== 0 && !(r === g && g === b)) all.push(`a colour: ${any.tagName} ${colour}`);
          }
        }
        return [...new Set(all)];
      }, paper);
      found.push(...wrong.map((what) => `${name} on ${paper.name}: ${what}`));
    }
    if (flag === "--pictures") {
      mkdirSync(pictures, { recursive: true });
      await page.screenshot({ path: join(pictures, `${basename(name, ".html")}.png`), fullPage: true });
    }
    await context.close();
  }
  console.log(`${sheets.length} sheets on ${PAPERS.length} papers: ${found.length} findings`);
} finally {
  await end();
}
for (const line of found) console.error(line);
process.exit(found.length === 0 ? 0 : 1);
