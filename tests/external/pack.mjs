// Opens packs in Chromium at phone, tablet and desktop widths, light and dark, and as PDF.
// Bounds: no horizontal scroll; no letter of a chart outside its box; no axe-core violation (its
// colour-contrast rule is 4.5:1, WCAG 2.2 1.4.3); no request to the network; every part and setup
// begins on a PDF page of its own, and the PDF holds every letter and word of the charts.
import { execFileSync } from "node:child_process";
import { createRequire } from "node:module";
import { mkdtempSync, readFileSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";

const require = createRequire(join(resolve(process.env.PACK_MODULES), "x.js"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

const quick = process.argv.includes("--quick");
const songs = readdirSync("demo-songs").filter((f) => /\.(musicxml|mxl|mid)$/.test(f)).sort();
const wanted = quick ? ["rowing-home.musicxml"] : songs;
const views = [["phone", 360, 740], ["tablet", 820, 1180], ["desktop", 1440, 900]];
const out = mkdtempSync(join(tmpdir(), "pack-"));
const faults = [];
const browser = await chromium.launch({
  executablePath: "/usr/bin/chromium",
  args: process.getuid() === 0 ? ["--no-sandbox"] : [],
});
let checked = 0;
let letters = 0;
try {
  for (const song of wanted) {
    const name = song.replace(/\.[^.]+$/, "");
    execFileSync(process.env.BARWRIGHT, ["arrange", join("demo-songs", song),
      "--kit", "demo-songs/harbour-room.toml", "--out", out, "--pdf"], { stdio: "pipe" });
    const html = join(out, name, "pack.html");
    for (const [view, width, height] of views) {
      for (const colorScheme of ["light", "dark"]) {
        const where = `${name} ${view} ${colorScheme}`;
        const context = await browser.newContext({ viewport: { width, height }, colorScheme });
        const page = await context.newPage();
        page.on("request", (r) => {
          if (!r.url().startsWith("file:")) faults.push(`${where}: asks for ${r.url()}`);
        });
        await page.goto(`file://${html}`);
        const found = await page.evaluate(() => {
          const out = [];
          const doc = document.documentElement;
          if (doc.scrollWidth > doc.clientWidth) {
            out.push(`scrolls sideways: ${doc.scrollWidth} > ${doc.clientWidth}`);
          }
          let n = 0;
          for (const tone of document.querySelectorAll(".beat .tone")) {
            n++;
            const box = tone.closest(".beat").getBoundingClientRect();
            const range = document.createRange();
            range.selectNodeContents(tone);
            const r = range.getBoundingClientRect();
            // Half a pixel for rounding.
            if (r.left < box.left - 0.5 || r.right > box.right + 0.5 || r.bottom > box.bottom + 0.5) {
              out.push(`${tone.textContent} leaves its box in ${tone.closest("section").id}: `
                + `${r.left.toFixed(1)}..${r.right.toFixed(1)} in ${box.left.toFixed(1)}..${box.right.toFixed(1)}`);
            }
          }
          return { out, n };
        });
        letters += found.n;
        faults.push(...found.out.map((f) => `${where}: ${f}`));
        await page.evaluate(axe);
        const result = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
        for (const v of result.violations) {
          faults.push(`${where}: axe ${v.id} (${v.nodes.length}): ${v.nodes[0].target} ${v.help}`);
        }
        checked++;
        if (view === "desktop" && colorScheme === "light") await pdf(page, name);
        await context.close();
      }
    }
  }
} finally {
  await browser.close();
  rmSync(out, { recursive: true, force: true });
}
console.log(`${wanted.length} songs, ${checked} views, ${letters} letters in boxes; ${faults.length} faults`);
for (const fault of faults.slice(0, 40)) console.log(`  ${fault}`);
process.exit(faults.length || !checked || !letters ? 1 : 0);

/** Compares the PDF with what the page shows. */
async function pdf(page, name) {
  const text = execFileSync("pdftotext", ["-layout", join(out, name, "pack.pdf"), "-"], { encoding: "utf8" });
  const squeeze = (s) => s.replace(/\s+/g, "");
  const pages = text.split("\f").map(squeeze);
  const sheets = await page.$$eval("section.sheet", (all) => all.map((s) => ({
    id: s.id,
    head: (s.querySelector(".over")?.textContent ?? "") + s.querySelector("h1,h2").textContent,
  })));
  let from = 0;
  for (const sheet of sheets) {
    const at = pages.findIndex((p, i) => i >= from && p.startsWith(squeeze(sheet.head)));
    if (at < 0) faults.push(`${name} PDF: ${sheet.id} begins on no page of its own`);
    else from = at + 1;
  }
  const tones = await page.$$eval(".tone", (all) => all.map((t) => t.firstChild.textContent));
  const count = (list) => list.reduce((m, t) => m.set(t, (m.get(t) ?? 0) + 1), new Map());
  const have = squeeze(text);
  for (const [tone, n] of count(tones)) {
    const seen = have.split(tone).length - 1;
    if (seen < n) faults.push(`${name} PDF: ${tone} stands ${seen} times, the charts have ${n}`);
  }
  const words = await page.$$eval(".beat .words", (all) => all.map((w) => w.textContent.trim()));
  for (const line of new Set(words)) {
    if (line && !have.includes(squeeze(line))) faults.push(`${name} PDF: “${line}” is missing`);
  }
}
