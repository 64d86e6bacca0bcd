// A watched lift that goes wrong, over real MQTT, with the program killed and
// started again in mid-lift.
import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import { copyFileSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { BrowserContext, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { binary, browser, freePort, listen, missing } from "./browse";

const lacks = missing || (spawnSync("mosquitto_pub", ["--help"]).error ? "no mosquitto_pub" : "");
const password = "salt-and-tide";

describe.skipIf(lacks)(`a lift that goes wrong${lacks && ` (${lacks})`}`, () => {
  let context: BrowserContext, page: Page, said: string[], url: string, ports: [number, number];
  let program: ChildProcess | undefined, gateway: ChildProcess | undefined;
  let each = 0; // kN, of each of the two cells
  let hand = 0; // kN, by which somebody pulls the west leg
  const dir = mkdtempSync(join(tmpdir(), "plumbhook-"));

  async function serve() {
    program = spawn(binary, ["serve", join(dir, "pump-motor.yaml"), "--map", join(dir, "channels.yaml"), "--data", join(dir, "watch"), "--listen", `127.0.0.1:${ports[0]}`, "--mqtt", `127.0.0.1:${ports[1]}`], { env: { ...process.env, YARD_PASSWORD: password } });
    let text = "";
    for (const s of [program.stdout!, program.stderr!]) s.on("data", (b: Buffer) => (text += b.toString()));
    for (let i = 0; i < 600; i++) {
      if (program.exitCode !== null) throw new Error(`plumbhook ended: ${text}`);
      const up = await fetch(`${url}/api/watch`).then((r) => r.ok, () => false);
      if (up) break;
      await new Promise((r) => setTimeout(r, 100));
    }
    gateway = spawn("mosquitto_pub", ["-h", "127.0.0.1", "-p", String(ports[1]), "-u", "yard", "-P", password, "-i", "yard", "-q", "1", "-t", "tele/yard/cells", "-l"]);
    gateway.stdin!.on("error", () => {}); // it goes with the server
  }
  const gone = (p: ChildProcess | undefined, signal: NodeJS.Signals) =>
    new Promise<void>((done) => {
      if (!p || p.exitCode !== null || p.signalCode !== null) return done();
      p.once("exit", () => done());
      p.kill(signal);
    });

  // raise has both cells go to a reading within a time, as a hoist does.
  async function raise(to: number, seconds: number) {
    const from = each;
    const begun = Date.now();
    for (let share = 0; share < 1; ) {
      share = Math.min(1, (Date.now() - begun) / 1000 / Math.max(seconds, 0.01));
      each = from + (to - from) * share;
      await new Promise((r) => setTimeout(r, 50));
    }
  }
  const is = (s: string) => page.locator(`section.band[data-state="${s}"]`).waitFor();
  let timer: ReturnType<typeof setInterval>;

  beforeAll(async () => {
    copyFileSync("../examples/pump-motor.yaml", join(dir, "pump-motor.yaml"));
    const channel = (name: string) => `  ${name}: {gateway: yard, address: 'tele/yard/cells#${name}', kind: load cell, unit: kN}\n`;
    writeFileSync(join(dir, "channels.yaml"), `channel_map: 1\ngateways:\n  yard: {kind: mqtt, password: {env: YARD_PASSWORD}}\nchannels:\n${channel("W")}${channel("E")}`);
    ports = [await freePort(), await freePort()];
    url = `http://127.0.0.1:${ports[0]}`;
    await serve();
    timer = setInterval(() => {
      const at = (k: number) => (each + 0.004 * Math.sin(Date.now() / 70 + k)).toFixed(4); // a cell never repeats itself
      gateway?.stdin?.write(`{"W":${(hand + Number(at(0))).toFixed(4)},"E":${at(1)}}\n`);
    }, 100);
    context = await browser();
    page = await context.newPage();
    page.setDefaultTimeout(30_000);
    said = listen(page);
  });
  afterAll(async () => {
    clearInterval(timer);
    await context?.close();
    await gone(gateway, "SIGKILL");
    await gone(program, "SIGTERM");
    rmSync(dir, { recursive: true, force: true });
  });

  test("before the lift the cells read and the tug test names the leg pulled", async () => {
    await page.goto(`${url}/live`);
    await is("WITHIN PLAN");
    await page.getByText("NO LOAD ON").waitFor();
    await page.getByLabel("Your name").fill("A. Rigger");
    await page.getByRole("button", { name: "Pull west" }).click();
    await page.getByText("Pull leg west down now, and hold.").first().waitFor();
    hand = 0.4;
    await page.getByText("west moved, as it should").waitFor();
    hand = 0;
    expect(said).toEqual([]);
  });

  test("past the stop the screen says stop, and what to do", async () => {
    await raise(22, 4);
    await page.getByRole("button", { name: "Carry on with the lift" }).waitFor();
    await raise(33, 2);
    await is("STOP");
    await page.getByText("Slack off").first().waitFor();
    expect(said).toEqual([]);
  });

  test("the program killed in mid-lift: the link is gone, the stop stays, and stands when it is back until a person clears it", async () => {
    const before = Date.now();
    await gone(program, "SIGKILL");
    await page.getByText("LINK LOST").waitFor();
    expect(await page.locator("section.band").getAttribute("data-state")).toBe("STOP");
    expect(Date.now() - before).toBeLessThan(10_000);
    await gone(gateway, "SIGKILL");
    each = 22;
    await serve();
    await page.getByText("LINK LOST").waitFor({ state: "detached" });
    await is("STOP");
    // Nothing is past its limit any more; it ends by name alone.
    for (let i = 0; i < 20 && (await page.locator('section.band[data-state="STOP"]').count()); i++) {
      const clear = page.locator("article").getByRole("button", { name: "Clear", exact: true }).first();
      await clear.click({ timeout: 20_000 });
      await page.waitForTimeout(300);
    }
    expect(await page.locator('section.band[data-state="STOP"]').count()).toBe(0);
    const words = (await fetch(`${url}/api/watch`).then((r) => r.json())) as { away: unknown[] };
    expect(words.away.length).toBe(1);
    expect(said.filter((s) => !/ERR_|status of 4/.test(s))).toEqual([]);
  });
});
