// A picture of the top of a page, for README and for looking at it.
// node picture.mjs CHROMIUM PAGE.html OUT.png [WIDTH HEIGHT [dark]]
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const [executablePath, file, out, width = "1280", height = "900", scheme = "light"] = process.argv.slice(2);
const browser = await chromium.launch({ executablePath, args: ["--no-sandbox", "--disable-gpu"] });
const page = await browser.newPage({ viewport: { width: Number(width), height: Number(height) }, colorScheme: scheme });
await page.goto(pathToFileURL(file).href);
await page.waitForFunction(() => document.documentElement.dataset.drawn === "yes" || !document.querySelector("[data-plot]"));
await page.waitForTimeout(300);
await page.screenshot({ path: out });
await browser.close();
