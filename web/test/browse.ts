// A real Chromium and a real plumbhook for the tests, each its own.
import { type ChildProcess, spawn } from "node:child_process";
import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium, type BrowserContext, type Page } from "playwright-core";

const chrome = ["/usr/bin/chromium", "/usr/bin/chromium-browser"].find(existsSync);
export const binary = process.env.PLUMBHOOK ?? "../build/plumbhook";
// Without either there is nothing to look at; CI installs both.
export const missing = !chrome ? "no Chromium" : !existsSync(binary) ? "no built program" : "";

export async function browser(): Promise<BrowserContext> {
  return chromium.launchPersistentContext(mkdtempSync(join(tmpdir(), "chromium-")), {
    executablePath: chrome!,
    headless: true,
    args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
  });
}

export async function freePort(): Promise<number> {
  return new Promise((done) => {
    const s = createServer().listen(0, "127.0.0.1", () => {
      const { port } = s.address() as { port: number };
      s.close(() => done(port));
    });
  });
}

// Program is a plumbhook that serves from a data folder of its own.
export class Program {
  url = "";
  code = ""; // of the first start
  private process?: ChildProcess;
  private ports?: [number, number];
  private readonly data = mkdtempSync(join(tmpdir(), "plumbhook-"));

  async start(): Promise<this> {
    const [port, mqtt] = (this.ports ??= [await freePort(), await freePort()]);
    this.url = `http://127.0.0.1:${port}`;
    const p = (this.process = spawn(binary, ["serve", "--data", this.data, "--listen", `127.0.0.1:${port}`, "--mqtt", `127.0.0.1:${mqtt}`]));
    let said = "";
    for (const s of [p.stdout, p.stderr]) s.on("data", (b: Buffer) => (said += b.toString()));
    for (let i = 0; i < 600; i++) {
      if (p.exitCode !== null) throw new Error(`plumbhook ended: ${said}`);
      this.code ||= /first admin: (\S+)/.exec(said)?.[1] ?? "";
      try {
        if (this.code && (await fetch(`${this.url}/healthz`)).ok) return this;
      } catch {
        // not yet
      }
      await new Promise((r) => setTimeout(r, 100));
    }
    throw new Error(`plumbhook does not answer: ${said}`);
  }

  // stop ends the program; start has it go on with the same data at the same
  // address.
  async stop(): Promise<void> {
    const p = this.process;
    if (p && p.exitCode === null) {
      const gone = new Promise((r) => p.once("exit", r));
      p.kill();
      await gone;
    }
  }

  async end(): Promise<void> {
    await this.stop();
    rmSync(this.data, { recursive: true, force: true });
  }
}

// begin makes R. Vane the first admin of a program, in a page of their own.
export async function begin(program: Program, context: BrowserContext): Promise<Page> {
  const page = await context.newPage();
  page.setDefaultTimeout(15_000);
  await page.goto(program.url);
  await page.getByLabel("Code from the console").fill(program.code);
  await page.getByLabel("Name").fill("R. Vane");
  await page.getByLabel("Password").fill("quayside crane 42");
  await page.getByRole("button", { name: "Begin" }).click();
  await page.getByRole("heading", { name: "Lifts" }).waitFor();
  return page;
}

// listen keeps what a page complains of.
export function listen(page: Page): string[] {
  const said: string[] = [];
  page.on("pageerror", (e) => said.push(String(e)));
  page.on("console", (m) => {
    if (m.type() === "error" || m.type() === "warning") said.push(`${m.text()} ${m.location().url}`);
  });
  return said;
}
