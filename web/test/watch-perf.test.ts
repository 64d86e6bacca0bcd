// How fast the watch draws, and whether it keeps its memory: PERFORMANCE=1 asks
// for it. Figures are printed; docs/app.md has those of one machine.
import { gzipSync } from "node:zlib";
import type { BrowserContext, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { browser, missing } from "./browse";
import { Pretend, crowd } from "./pretend";

describe.skipIf(missing || !process.env.PERFORMANCE)("sixteen channels, twenty times a second", () => {
  let context: BrowserContext, page: Page;
  const site = new Pretend();
  beforeAll(async () => {
    site.view = crowd(16);
    await site.start();
    context = await browser();
    page = await context.newPage();
  });
  afterAll(async () => {
    await context?.close();
    await site.end();
  });

  test("first load, frames, long tasks", async () => {
    let bytes = 0;
    page.on("response", (r) => void (r.url().includes("/api/") ? undefined : r.body().then((b) => (bytes += gzipSync(b).length), () => {})));
    await page.setViewportSize({ width: 1280, height: 800 });
    await page.goto(`${site.url}/live`);
    await page.getByRole("button", { name: "Lift", exact: true }).click();
    await page.locator("li.leg").nth(15).waitFor();
    const painted = await page.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? NaN);
    await page.waitForTimeout(3000);
    const r = await page.evaluate(
      () =>
        new Promise<{ median: number; slowest: number; long: number[] }>((done) => {
          const long: number[] = [];
          new PerformanceObserver((l) => long.push(...l.getEntries().map((e) => e.duration))).observe({ type: "longtask" });
          const gaps: number[] = [];
          let last = performance.now();
          const begun = last;
          const next = (now: number) => {
            gaps.push(now - last);
            last = now;
            if (now - begun < 15_000) requestAnimationFrame(next);
            else {
              gaps.sort((a, b) => a - b);
              done({ median: 1000 / gaps[gaps.length >> 1]!, slowest: gaps.at(-1)!, long });
            }
          };
          requestAnimationFrame(next);
        }),
    );
    console.log(`first load ${(bytes / 1000).toFixed(0)} kB gzip, first paint ${painted.toFixed(0)} ms, median ${r.median.toFixed(1)} frames/s, slowest frame ${r.slowest.toFixed(0)} ms, ${r.long.length} tasks over 50 ms ${r.long.map((n) => n.toFixed(0)).join(" ")}`);
    expect(bytes).toBeGreaterThan(10_000);
    expect(bytes).toBeLessThan(250_000);
  });

  test("memory over a day of eight hours, played fast", async () => {
    const cdp = await context.newCDPSession(page);
    const heap = async () => {
      await cdp.send("HeapProfiler.collectGarbage");
      return (await cdp.send("Runtime.getHeapUsage")).usedSize / 1e6;
    };
    site.still = true; // told by hand
    const hours: number[] = [];
    const begun = Date.now();
    for (let hour = 0; hour <= 8; hour++) {
      hours.push(await heap());
      for (let i = 0; i < 1800 && hour < 8; i++) {
        // A view every two seconds of the day; readings move, an alarm comes and goes.
        const at = hour * 3600 + 2 * i;
        for (const [k, c] of site.view.cells.entries()) c.read_N = 20000 + 4000 * Math.sin(at / 40 + k);
        site.view.total_N = 44000 + 6000 * Math.sin(at / 40);
        site.day(begun + 1000 * at);
        await new Promise((r) => setTimeout(r, 4));
      }
    }
    console.log(`heap by the hour, MB: ${hours.map((n) => n.toFixed(1)).join(" ")}; ${await page.evaluate("document.querySelectorAll('*').length")} elements; the played day took ${((Date.now() - begun) / 1000).toFixed(0)} s`);
    // The first hour fills the two minutes of the trend.
    expect(hours[8]!).toBeLessThan(1.1 * hours[1]! + 0.5);
  }, 600_000);
});
