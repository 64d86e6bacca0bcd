// The watch and the far display, in front of a server that shows what it is
// given: nobody can take an old number for a live one, and what is wrong is said.
import type { BrowserContext, Page } from "playwright-core";
import { afterAll, beforeAll, beforeEach, describe, expect, test } from "vitest";
import { browser, listen, missing } from "./browse";
import { look, pictures, sizes, themes } from "./crew";
import { menu } from "./look";
import { Pretend, blind, crowd, hanging, held, idle, tight } from "./pretend";

describe.skipIf(missing)(`the watch${missing && ` (${missing})`}`, () => {
  let context: BrowserContext, page: Page, said: string[];
  const site = new Pretend();
  const state = () => page.locator("section.band");
  const is = (s: string) => page.locator(`section.band[data-state="${s}"]`).waitFor();
  const old = `[...document.querySelectorAll(".live b, li.leg .value")].map((e) => getComputedStyle(e).textDecorationLine === "line-through")`;

  beforeAll(async () => {
    await site.start();
    context = await browser();
    // The page notes when it last heard of the server.
    await context.addInitScript(() => {
      const Source = window.EventSource;
      window.EventSource = class extends Source {
        constructor(url: string | URL) {
          super(url);
          for (const k of ["hello", "view", "beat"]) this.addEventListener(k, () => ((window as unknown as { heardAt: number }).heardAt = performance.now()));
        }
      };
    });
    page = await context.newPage();
    page.setDefaultTimeout(15_000);
    said = listen(page);
  });
  afterAll(async () => {
    await context?.close();
    await site.end();
  });
  beforeEach(() => {
    said.length = 0;
    site.cut = site.still = site.none = false;
  });

  const open = async (path: string, view = hanging()) => {
    site.view = view;
    await page.setViewportSize({ width: 1280, height: 800 });
    await page.goto(site.url + path);
    await is(view.state);
  };

  test("word, shape and what to do are in view at every size", async () => {
    for (const [width, height] of Object.values(sizes)) {
      await open("/live");
      await page.setViewportSize({ width, height });
      for (const v of [hanging(), tight(), held(), blind()]) {
        site.view = v;
        await is(v.state);
        await page.evaluate("scrollTo(0, 1e6)");
        const seen = await page.evaluate(() => {
          const e = document.querySelector(".state")!;
          const r = e.getBoundingClientRect();
          return r.top >= 0 && r.bottom <= innerHeight && r.right <= innerWidth && r.height >= 30 && document.elementFromPoint(r.x + 20, r.y + r.height / 2) === e;
        });
        expect(seen, `${width}: ${v.state} is not in view at the foot of the page`).toBe(true);
        expect(await state().locator("svg").innerHTML()).not.toBe("");
        if (v.do) expect(await state().textContent()).toContain(v.do);
      }
    }
    expect(said).toEqual([]);
  });

  test("axe, contrast and gloves", async () => {
    for (const [name, v] of Object.entries({ hanging: hanging(), tight: tight(), held: held(), blind: blind(), idle: idle() })) {
      await open("/live", v);
      const full = name === "held" || name === "idle";
      await look(page, `watch-${name}`, { scroll: true, axe: full, ...(pictures ? {} : { sizes: full ? ["phone", "tablet"] : ["tablet"] }) });
    }
    await open("/live", crowd(16));
    await page.getByRole("button", { name: "Lift", exact: true }).click();
    await look(page, "watch-crowd", { scroll: true, ...(pictures ? {} : { sizes: ["tablet"] }) });
    expect(said).toEqual([]);
  }, 900_000);

  test("what is not read is struck through, its age told, and what it may bear marked as an estimate", async () => {
    await open("/live");
    await page.locator("li.leg").nth(1).waitFor();
    expect(await page.evaluate(old)).not.toContain(true);
    site.view = blind();
    await is("NO READING");
    const lost = page.locator("li.leg").nth(1);
    await lost.getByText("LOST, 5.2 s old").waitFor();
    await lost.getByText("Estimate 25.9–28.8").waitFor();
    await page.getByText("ESTIMATE: E not read").waitFor();
    expect(await page.locator(".total").textContent()).toBe("≈44.4");
    expect(await page.evaluate(old)).toEqual([false, false, true, false, true]); // total, share, worst leg, west, east
    expect(said).toEqual([]);
  });

  test("a lost link is told within a second, nothing looks live then, and a stop stays", async () => {
    let best = Infinity;
    for (let k = 0; k < 3; k++) {
      // The page's own clock is asked; a busy machine may be late: the best counts.
      await open("/live");
      await page.evaluate(() => {
        const w = window as unknown as { heardAt: number; silence?: number };
        new MutationObserver(() => {
          if (document.querySelector(".lost")) w.silence ??= performance.now() - w.heardAt;
        }).observe(document.body, { subtree: true, childList: true });
      });
      site.cut = true;
      await page.getByText("LINK LOST").waitFor();
      await is("NO READING");
      best = Math.min(best, await page.evaluate("silence"));
      expect(await page.evaluate(old)).not.toContain(false);
      if (pictures) await page.screenshot({ path: `${pictures}/watch-lost.png` });
      site.cut = false;
      await page.locator(".lost").waitFor({ state: "detached" });
      await is("WITHIN PLAN");
      if (best <= 1000) break;
    }
    expect(best).toBeLessThanOrEqual(1000);
    site.view = held();
    await is("STOP");
    site.cut = true;
    await page.getByText("LINK LOST").waitFor();
    expect(await state().getAttribute("data-state")).toBe("STOP");
    site.cut = false;
    await page.locator(".lost").waitFor({ state: "detached" });
    expect(said.filter((s) => !s.includes("ERR_"))).toEqual([]);
  });

  test("a watch that stands still behind a server that answers is told, and so is that there is none", async () => {
    await open("/live");
    site.still = true;
    await page.getByText("WATCH STANDS STILL").waitFor();
    await is("NO READING");
    site.still = false;
    await is("WITHIN PLAN");
    expect(said).toEqual([]);
    site.none = true;
    await page.reload();
    await page.getByText("NO LIFT ON THE WATCH").waitFor();
    expect(said.filter((s) => !/status of 404/.test(s))).toEqual([]);
  });

  test("entries bear a name; a hold needs none", async () => {
    await open("/live", held());
    site.entered.length = 0;
    await page.getByRole("button", { name: "Daylight all round" }).click();
    await page.getByText("Write your name first").waitFor();
    await page.getByRole("button", { name: "CALL HOLD" }).click();
    await page.getByText("Hold called.").waitFor();
    await page.getByLabel("Your name").fill("A. Rigger");
    await page.getByRole("button", { name: "Daylight all round" }).click();
    await page.getByText("Entered: Daylight all round").waitFor();
    const clear = page.locator("article").getByRole("button", { name: "Clear" });
    expect(await Promise.all((await clear.all()).map((b) => b.isDisabled()))).toEqual([true, false]); // a stop whose cause is there stays
    await clear.nth(1).click();
    await page.locator("article").nth(1).waitFor({ state: "detached" });
    await page.locator(".acts").getByRole("button", { name: "Seen" }).click();
    await page.getByText("Seen: A. Rigger").waitFor();
    await page.getByRole("button", { name: "Mark" }).click();
    await page.getByText("Marked.").waitFor();
    expect(site.entered.map((e) => [e.path.replace("/api/watch/", ""), ...Object.values(e.body)].join(" "))).toEqual(["hold ", "word daylight A. Rigger", "clear shock A. Rigger", "ack leg_stop E A. Rigger", "mark mark A. Rigger"]);
    expect(said).toEqual([]);
  });

  test("the stages follow the lift: tug test, zero and freed before, a named decision after the trial lift, zeros after", async () => {
    await open("/live", idle());
    await page.getByLabel("Your name").fill("A. Rigger");
    await page.getByRole("button", { name: "Pull east" }).click();
    await page.getByText("Pull leg east down now, and hold.").first().waitFor();
    const v = structuredClone(site.view);
    Object.assign(v.tugs[0]!, { result: "other leg", found: "west", pull_N: 300 });
    site.view = v;
    await page.getByText("west moved, asked was east").waitFor();
    await page.getByRole("button", { name: "Zero: rigging hangs free" }).click();
    await page.getByText("Zeroed, rigging hanging free: A. Rigger").waitFor();
    const free = page.getByRole("button", { name: "All fastenings off" });
    expect(await free.isDisabled()).toBe(true);
    for (const box of await page.getByRole("checkbox").all()) await box.check();
    await free.click();
    await page.getByText("All fastenings off: A. Rigger").waitFor();

    site.view = hanging();
    await page.getByRole("button", { name: "Carry on with the lift" }).waitFor();
    await page.getByRole("button", { name: "Brake holds" }).click();
    await page.getByText("Brake held: A. Rigger").waitFor();
    if (pictures) await page.screenshot({ path: `${pictures}/watch-trial.png`, fullPage: true });
    await page.getByRole("button", { name: "Carry on with the lift" }).click();
    await page.getByRole("button", { name: "Brake holds" }).waitFor({ state: "detached" });
    expect(await page.getByRole("button", { name: /^Lift .*now/ }).getAttribute("aria-pressed")).toBe("true");
    // Another stage can be looked at; when the lift moves on, the screen does.
    await page.getByRole("button", { name: "Before" }).click();
    await page.getByText("Load cells and their legs").waitFor();

    const after = { ...hanging(), phase: "idle", zeros: [{ channel: "W", read_N: 20, low_N: -30, high_N: 40, room_N: 80, match: "came back" as const }, { channel: "E", read_N: 400, low_N: -30, high_N: 40, room_N: 80, match: "off" as const }] };
    after.phases.push({ phase: "idle", from_s: 101, to_s: 120, evidence: "" });
    site.view = after;
    await page.getByText("OFF: look at the cell").waitFor();
    await look(page, "watch-after", { scroll: true, ...(pictures ? {} : { sizes: ["phone"] }) });
    expect(said).toEqual([]);
  });

  test("sound is switched on by a touch, says when it is off, and sounds what has to be heard", async () => {
    await open("/live");
    const button = page.locator(".sound");
    expect(await button.textContent()).toContain("SOUND IS OFF");
    await page.evaluate(() => {
      const w = window as unknown as { tones: number[] };
      w.tones = [];
      const start = OscillatorNode.prototype.start;
      OscillatorNode.prototype.start = function (at) {
        w.tones.push(this.frequency.value);
        start.call(this, at);
      };
    });
    await button.click();
    await page.getByText("Sound on").waitFor();
    await page.evaluate("tones.length = 0");
    site.view = held();
    await expect.poll(() => page.evaluate("tones.length"), { timeout: 10_000 }).toBeGreaterThanOrEqual(6);
    expect(await page.evaluate("new Set(tones).size")).toBe(1);
    await button.click();
    await page.getByText("SOUND IS OFF").waitFor();
    expect(said).toEqual([]);
  });

  test("all of it speaks Spanish", async () => {
    await open("/live", held());
    await menu(page);
    await page.getByLabel("Language").selectOption("es");
    await page.getByText("ALTO", { exact: true }).waitFor();
    await page.getByText(/Un ramal rebasa su límite de alto, E\. lee 35\.1 kN, límite 34\.3 kN\. Alto\. Aflojar\./i).first().waitFor();
    await page.getByText("Algo la retiene.").waitFor();
    if (pictures) await page.screenshot({ path: `${pictures}/watch-es.png`, fullPage: true });
    await page.getByLabel("Idioma").selectOption("en");
    expect(said).toEqual([]);
  });

  test("on the far display every big digit stands a fifth of the screen high, and there is nothing to touch", async () => {
    for (const theme of ["light", "dark"] as const)
      for (const total of [44_410, 1_234_500, 123_456_700]) {
        await open("/far", { ...hanging(), total_N: total, total_stop_N: 1.2 * total, total_used: 1 / 1.2 });
        await page.setViewportSize({ width: 1920, height: 1080 });
        await page.evaluate((theme) => (document.documentElement.dataset.theme = theme), theme);
        await page.getByText((total / 1000).toFixed(1), { exact: true }).waitFor();
        if (pictures) await page.screenshot({ path: `${pictures}/far-${theme}-${total}.png` });
        const r = await page.evaluate(() => {
          const digits = [...document.querySelectorAll("b")].map((e) => {
            const g = document.createElement("canvas").getContext("2d")!;
            const css = getComputedStyle(e);
            g.font = `${css.fontWeight} ${css.fontSize} ${css.fontFamily}`;
            return g.measureText("0123456789").actualBoundingBoxAscent / innerHeight;
          });
          const inside = [...document.querySelectorAll("b, span, h1, .age")].every((e) => {
            const r = e.getBoundingClientRect();
            return r.left >= 0 && r.right <= innerWidth && r.top >= -1 && r.bottom <= innerHeight + 1;
          });
          return { least: Math.min(...digits), n: digits.length, inside, touch: document.querySelectorAll("button, input, a, select").length };
        });
        expect(r.n).toBe(3);
        expect(r.least, `${total}`).toBeGreaterThanOrEqual(0.2);
        expect(r.inside, `${total} ${theme}: something is cut off`).toBe(true);
        expect(r.touch).toBe(0);
      }
    for (const [name, v] of Object.entries({ hanging: hanging(), tight: tight(), held: held(), blind: blind() })) {
      site.view = v;
      await is(v.state);
      await look(page, `far-${name}`, { sizes: ["desktop"], axe: name === "held" });
      await page.setViewportSize({ width: 1920, height: 1080 });
    }
    site.view = held();
    await is("STOP");
    site.cut = true;
    await page.getByText("LINK LOST").waitFor();
    await expect.poll(() => page.evaluate(`[...document.querySelectorAll("b")].map((e) => getComputedStyle(e).textDecorationLine)`)).toEqual(["line-through", "line-through", "line-through"]);
    expect(await state().getAttribute("data-state")).toBe("STOP");
    for (const theme of themes) {
      await page.evaluate((theme) => (document.documentElement.dataset.theme = theme), theme);
      if (pictures) await page.screenshot({ path: `${pictures}/far-lost-${theme}.png` });
    }
    site.cut = false;
    await page.getByText("LINK LOST").waitFor({ state: "detached" });
    expect(said.filter((s) => !s.includes("ERR_"))).toEqual([]);
  }, 600_000);
});
