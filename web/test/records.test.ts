// A rehearsed lift that goes wrong, from the watch to its sealed record.
import { readFileSync } from "node:fs";
import type { BrowserContext, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { begin, browser, listen, missing, Program } from "./browse";
import { look } from "./look";

describe.skipIf(missing)(`records${missing && ` (${missing})`}`, () => {
  let context: BrowserContext, page: Page, said: string[];
  const program = new Program();

  beforeAll(async () => {
    await program.start();
    context = await browser();
    page = await begin(program, context);
    said = listen(page);
    // A watch of a few seconds, entered as the screens would.
    await page.evaluate(async (text) => {
      const send = async (path: string, body: object) => {
        const r = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
        if (!r.ok) throw new Error(`${path}: ${await r.text()}`);
        return (await r.json()) as { id: string; revisions: { n: number; sha256: string; stop_findings: string[] }[] };
      };
      const lift = await send("/api/lifts", { text });
      const r = lift.revisions[0]!;
      const overrides = ["something needed is missing", ...r.stop_findings].map((finding) => ({ finding, reason: "rehearsal" }));
      await send(`/api/lifts/${lift.id}/approve`, { revision: r.n, sha256: r.sha256, unit: "t", overrides: r.stop_findings.length ? overrides : [], password: "quayside crane 42" });
      await send(`/api/lifts/${lift.id}/watch`, { rehearse: "heavier" });
      for (let i = 0; i < 100; i++) {
        const w = (await (await fetch("/api/watch")).json()) as { total_N: number | null };
        if (w.total_N !== null) break;
        await new Promise((done) => setTimeout(done, 100));
      }
      await send("/api/watch/hold", {});
      await new Promise((done) => setTimeout(done, 2000));
      await send(`/api/lifts/${lift.id}/end`, { outcome: "stopped", note: "enough seen" });
    }, readFileSync("../examples/pump-motor.yaml", "utf8"));
  });
  afterAll(async () => {
    await context?.close();
    await program.end();
  });

  test("the record is listed, and opened at its time line", async () => {
    await page.getByRole("link", { name: "Records" }).click();
    await page.getByText("not sealed").waitFor();
    await page.getByText("REHEARSAL: heavier").waitFor();
    await look(page, "records");
    await page.getByRole("link", { name: /Pump motor/ }).click();
    await page.getByText(/RECORD, not live/).waitFor();
    await page.getByRole("row", { name: /west W/ }).waitFor();
    expect(await page.getByRole("row").count()).toBe(4); // head, two legs, the load
  });

  test("it plays, and jumps to what the watch said", async () => {
    const slider = page.getByRole("slider");
    await page.getByRole("button", { name: "Play" }).click();
    await expect.poll(() => slider.inputValue(), { timeout: 10_000 }).not.toBe("0");
    await page.getByRole("button", { name: "Hold still" }).click();
    const event = page.getByRole("listitem").filter({ hasText: "raised" }).first();
    await event.getByRole("button").click();
    const line = await event.getByRole("button").innerText();
    await page.getByText(`Moment: ${line}`).waitFor();
    await look(page, "record");
    expect(said).toEqual([]);
  });

  test("it is sealed, and downloaded whole and as readings", async () => {
    await page.getByRole("button", { name: "Seal the record" }).click();
    const zip = page.getByRole("link", { name: "Sealed record (ZIP)" });
    const [saved] = await Promise.all([page.waitForEvent("download"), zip.click()]);
    expect(readFileSync(await saved.path()).subarray(0, 2).toString()).toBe("PK");
    const [readings] = await Promise.all([page.waitForEvent("download"), page.getByRole("link", { name: "Readings (CSV)" }).click()]);
    expect(readFileSync(await readings.path(), "utf8").split(/\r?\n/)[0]).toMatch(/^t,channel,value(_N|,unit)$/);
    expect(said).toEqual([]);
  });
});
