// Opens pages from disk in Chromium and says what a reader would meet, as JSON on standard output.
// node check_pages.mjs CHROMIUM PAGE.html …
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf-8");
const [executablePath, ...files] = process.argv.slice(2);
const COLOURS = { runOnly: ["color-contrast", "link-in-text-block"] };
const SIZES = { desk: { width: 1280, height: 900 }, phone: { width: 390, height: 844 } };

const browser = await chromium.launch({ executablePath, args: ["--no-sandbox", "--disable-gpu"] });

const open = async (file, options, before) => {
  const page = await browser.newPage(options);
  const seen = { console: [], requests: [], dialogs: [] };
  page.on("console", (one) => seen.console.push(`${one.type()}: ${one.text()}`));
  page.on("pageerror", (fault) => seen.console.push(`fault: ${fault.message}`));
  page.on("request", (one) => seen.requests.push(one.url()));
  page.on("dialog", (one) => { seen.dialogs.push(one.message()); one.dismiss(); });
  if (before) await page.addInitScript(before);
  const url = pathToFileURL(file).href;
  await page.goto(url);
  await page
    .waitForFunction(() => document.documentElement.dataset.drawn === "yes" || !document.querySelector("[data-plot]:not(.failed)"), null, { timeout: 30000 })
    .catch(() => seen.console.push("fault: plots never drawn"));
  seen.requests = seen.requests.filter((one) => one !== url && !one.startsWith("data:") && !one.startsWith("blob:"));
  return { page, seen };
};

// One page is opened once and then turned from light to dark and from desk to phone, as readers do.
const looks = async (file, wanted) => {
  const { page, seen } = await open(file, { viewport: SIZES[wanted[0][0]], colorScheme: wanted[0][1] });
  const found = {};
  // axe is put in through the debugger, which the page's own ban on foreign scripts lets pass.
  await page.evaluate(axe);
  for (const [size, scheme] of wanted) {
    await page.setViewportSize(SIZES[size]);
    await page.emulateMedia({ colorScheme: scheme });
    await page.waitForTimeout(250);
    // Only colours change from light to dark: there all that can change is looked at again.
    found[`${size} ${scheme}`] = { ...seen, ...(await look(page, scheme === "dark" ? COLOURS : {})) };
  }
  await page.close();
  return found;
};

const look = async (page, rules) => {
  const found = await page.evaluate(() => ({
    overflow: document.documentElement.scrollWidth - innerWidth,
    headlines: [...document.querySelectorAll(".finding h3")].filter((one) => one.checkVisibility()).map((one) => one.innerText),
    firstHeadlineTop: document.querySelector(".finding h3")?.getBoundingClientRect().top ?? null,
    drawn: [...document.querySelectorAll("[data-plot]")].map((one) => one.querySelectorAll(".main-svg").length),
    firstPlotMs: performance.getEntriesByName("first-plot")[0]?.startTime ?? null,
    paper: getComputedStyle(document.body).backgroundColor,
    plotInk: document.querySelector("[data-plot] text") ? getComputedStyle(document.querySelector("[data-plot] text")).fill : null,
    injected: typeof window.hostile !== "undefined" || document.querySelector("img, svg script, main script, header script") !== null,
    text: document.body.textContent,
  }));
  const result = await page.evaluate((rules) => window.axe.run(document, rules), rules);
  found.axePasses = result.passes.length;
  found.axe = result.violations.map((one) => `${one.id}: ${one.nodes.map((node) => node.target.join(" ")).slice(0, 5).join(" | ")}`);
  return found;
};

const byKeyboard = async (file) => {
  const { page, seen } = await open(file, { viewport: SIZES.desk });
  const span = () => page.evaluate(() => document.getElementById("timeline")?._fullLayout?.xaxis.range.slice() ?? null);
  const out = { console: seen.console, whole: await span(), firstStop: null, zoomed: null, wanted: null, back: null };
  await page.keyboard.press("Tab");
  out.firstStop = await page.evaluate(() => document.activeElement.className);
  for (let stop = 0; stop < 60; stop++) {
    await page.keyboard.press("Tab");
    const wanted = await page.evaluate(() => document.activeElement.matches("a.place") && [Number(document.activeElement.dataset.from), Number(document.activeElement.dataset.to)]);
    if (!wanted) continue;
    out.wanted = wanted;
    await page.keyboard.press("Enter");
    await page.waitForTimeout(300);
    out.zoomed = await span();
    out.focus = await page.evaluate(() => document.activeElement.id);
    break;
  }
  for (let stop = 0; stop < 10 && out.wanted; stop++) {
    await page.keyboard.press("Tab");
    if (!(await page.evaluate(() => document.activeElement.dataset.move === "all"))) continue;
    await page.keyboard.press("Space");
    await page.waitForTimeout(300);
    out.back = await span();
    break;
  }
  await page.close();
  return out;
};

const withoutUnpacking = async (file) => {
  const { page, seen } = await open(file, { viewport: SIZES.desk }, () => delete window.DecompressionStream);
  const out = await page.evaluate(() => ({
    said: document.querySelector(".failed-note")?.innerText ?? null,
    headlines: document.querySelectorAll(".finding h3").length,
    tables: document.querySelectorAll("table").length,
  }));
  await page.close();
  return { ...out, console: seen.console };
};

const onPaper = async (file) => {
  const { page, seen } = await open(file, { viewport: SIZES.desk, colorScheme: "dark" });
  const pdf = await page.pdf({ format: "A4", printBackground: false });
  await page.emulateMedia({ media: "print", colorScheme: "dark" });
  const ink = await page.evaluate(() => getComputedStyle(document.body).color);
  const hidden = await page.evaluate(() => !document.querySelector("nav")?.checkVisibility());
  await page.close();
  return { console: seen.console, bytes: pdf.length, ink, hidden };
};

const LOOKS = [["desk", "light"], ["desk", "dark"], ["phone", "dark"], ["phone", "light"]];
const report = Object.fromEntries(files.map((file) => [file, {}]));
// Keys, paper and an old browser are tried on the first page: the others share its frame.
const [first] = files;
const jobs = [
  async () => { report[first].keyboard = await byKeyboard(first); },
  async () => { report[first].without = await withoutUnpacking(first); },
  async () => { report[first].paper = await onPaper(first); },
  ...files.map((file) => async () => { report[file].looks = await looks(file, LOOKS); }),
];
// A few at a time: pages wait for one another's plots else.
const worker = async () => { for (let job = jobs.shift(); job; job = jobs.shift()) await job(); };
await Promise.all([worker(), worker(), worker()]);
await browser.close();
process.stdout.write(JSON.stringify(report));
