// How a screen of the crew is looked at: every size and theme, for what axe finds, for
// contrast, for what is cut off and for what gloves cannot hit.
import { mkdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import type { Page } from "playwright-core";
import { expect } from "vitest";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
export const pictures = process.env.PICTURES; // a folder: screenshots are kept there
if (pictures) mkdirSync(pictures, { recursive: true });
export const sizes = { phone: [390, 844], tablet: [1280, 800], upright: [800, 1280], desktop: [1920, 1080] } as const;
export type Size = keyof typeof sizes;
export const themes = ["light", "dark", "sun"] as const;

// worst is the text that stands out least from its ground, by the formula of
// WCAG 2.2 (success criterion 1.4.6 asks for seven to one).
const worst = `(() => {
  const rgba = (text) => text.match(/[0-9.]+/g).map(Number);
  const ground = (e) => {
    for (; e; e = e.parentElement) {
      const c = rgba(getComputedStyle(e).backgroundColor);
      if (c.length < 4 || c[3] === 1) return c;
    }
    return [255, 255, 255];
  };
  const light = (c) => {
    const [r, g, b] = c.slice(0, 3).map((v) => v / 255).map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  let worst = { ratio: 99, text: "", seen: 0 };
  for (const e of document.querySelectorAll("body *")) {
    if (!(e.getClientRects().length) || ![...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())) continue;
    const svg = e instanceof SVGElement;
    const style = getComputedStyle(e);
    if (svg && style.fill === "none") continue;
    const [a, z] = [light(rgba(svg ? style.fill : style.color)), light(ground(e))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (z + 0.05);
    worst.seen++;
    if (ratio < worst.ratio) worst = { ...worst, ratio, text: e.textContent.slice(0, 40) };
  }
  return worst;
})()`;

const drawn = "new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))";

// wide is what reaches beyond the screen where the page scrolls sideways.
const wide = `document.documentElement.scrollWidth <= innerWidth ? [] : [...document.querySelectorAll("body *")].filter((e) => e.getBoundingClientRect().right > innerWidth).map((e) => e.outerHTML.slice(0, 80))`;

export async function look(page: Page, name: string, at: { sizes?: Size[]; scroll?: boolean; axe?: boolean } = {}): Promise<void> {
  const small = `[...document.querySelectorAll("button, .button, select, input:not([type=checkbox], [type=radio], [type=range])")].filter((e) => e.offsetHeight > 0 && (e.offsetHeight < 48 || e.offsetWidth < 48)).map((e) => e.outerHTML.slice(0, 80))`;
  await page.evaluate(axe);
  for (const size of at.sizes ?? (pictures ? (Object.keys(sizes) as Size[]) : (["phone", "tablet"] as Size[]))) {
    const [width, height] = sizes[size];
    await page.setViewportSize({ width, height });
    await page.evaluate(drawn);
    expect(await page.evaluate(wide), `${name} ${size}: wider than the screen`).toEqual([]);
    expect(await page.evaluate(small), `${name} ${size}: too small for gloves`).toEqual([]);
    for (const theme of themes) {
      await page.evaluate((theme) => (document.documentElement.dataset.theme = theme), theme);
      await page.evaluate(drawn);
      if (pictures) await page.screenshot({ path: `${pictures}/${name}-${size}-${theme}.png` });
      const c = (await page.evaluate(worst)) as { ratio: number; text: string; seen: number };
      expect(c.seen, `${name}: no text`).toBeGreaterThan(3);
      expect(c.ratio, `${name} ${size} ${theme}: ${c.text}`).toBeGreaterThanOrEqual(7);
      if ((theme !== "light" || at.axe === false) && !pictures) continue; // what a theme changes is contrast
      const found = (await page.evaluate("axe.run()")) as { violations: { id: string; nodes: { html: string }[] }[] };
      expect(found.violations.map((v) => `${v.id}: ${v.nodes[0]?.html}`), `${name} ${size} ${theme}`).toEqual([]);
    }
    if (pictures && at.scroll) await page.screenshot({ path: `${pictures}/${name}-${size}-whole.png`, fullPage: true });
  }
  await page.evaluate(() => (document.documentElement.dataset.theme = "light"));
  await page.setViewportSize({ width: 1280, height: 800 });
}
