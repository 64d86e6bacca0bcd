// What every screen has to bear, whatever it shows.
import { mkdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import type { Page } from "playwright-core";
import { expect } from "vitest";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const pictures = process.env.PICTURES; // a folder: screenshots are kept there
const sizes = { phone: [390, 844], tablet: [1280, 800], upright: [800, 1280], desktop: [1920, 1080] } as const;

// look tries the screen at every size: axe finds nothing in any theme, nothing is
// wider than the screen, nothing is too small for gloves, and the header is one
// line.
export async function look(page: Page, name: string): Promise<void> {
  if (pictures) mkdirSync(pictures, { recursive: true });
  await page.evaluate(axe);
  for (const [size, [width, height]] of Object.entries(sizes)) {
    await page.setViewportSize({ width, height });
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
    expect(wide, `${name} ${size}: wider than the screen`).toBeLessThanOrEqual(0);
    const header = await page.evaluate(() => document.querySelector("header")?.offsetHeight ?? 0);
    expect(header, `${name} ${size}: the header is one line`).toBeLessThanOrEqual(72);
    const small = await page.evaluate(() =>
      [...document.querySelectorAll("button, .button, select, header a, #menu a, input:not([type=checkbox], [type=radio], [type=range])")]
        .filter((e) => (e as HTMLElement).offsetHeight > 0 && (e as HTMLElement).offsetHeight < 48)
        .map((e) => e.outerHTML.slice(0, 80)),
    );
    expect(small, `${name} ${size}: too small for gloves`).toEqual([]);
    for (const theme of ["light", "dark", "sun"]) {
      if (size !== "phone" && size !== "desktop" && !pictures) continue; // axe sees no more in between
      await page.evaluate((theme) => (document.documentElement.dataset.theme = theme), theme);
      if (pictures) await page.screenshot({ path: `${pictures}/${name}-${size}-${theme}.png`, fullPage: true });
      const found = (await page.evaluate("axe.run()")) as { violations: { id: string; nodes: { html: string }[] }[] };
      expect(found.violations.map((v) => `${v.id}: ${v.nodes[0]?.html}`), `${name} ${size} ${theme}`).toEqual([]);
    }
  }
  await page.setViewportSize({ width: 1280, height: 800 });
}

// menu opens the menu of the header.
export const menu = (page: Page) => page.getByRole("button", { name: /^Men[uú]$/, expanded: false }).click();
