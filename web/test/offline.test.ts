// A tablet without a link: what was seen can be read and says since when; what is
// entered is refused at once; the link back, and a new build of the app.
import { createServer, type Server } from "node:http";
import type { AddressInfo } from "node:net";
import { readFileSync } from "node:fs";
import type { BrowserContext, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { begin, browser, listen, missing, Program } from "./browse";
import { look } from "./look";

describe.skipIf(missing)(`without a link${missing && ` (${missing})`}`, () => {
  let context: BrowserContext, page: Page, said: string[];
  const program = new Program();
  const unlinked = (s: string) => !/ERR_CONNECTION_REFUSED|ERR_FAILED|ERR_EMPTY_RESPONSE|ERR_CONNECTION_RESET/.test(s);

  beforeAll(async () => {
    await program.start();
    context = await browser();
    page = await begin(program, context);
    said = listen(page);
  });
  afterAll(async () => {
    await context?.close();
    await program.end();
  });

  test("the browser takes the app as one to install", async () => {
    await page.evaluate(() => navigator.serviceWorker.ready.then(() => true));
    const cdp = await context.newCDPSession(page);
    const { errors } = await cdp.send("Page.getAppManifest");
    expect(errors).toEqual([]);
    const install = await cdp.send("Page.getInstallabilityErrors");
    // A private window, as the tests' is none, would be the one reason not to.
    expect(install.installabilityErrors.map((e) => e.errorId)).toEqual([]);
  });

  test("a lift and its plan, once seen, are read without a link, and say since when", async () => {
    const text = readFileSync("../examples/pump-motor.yaml", "utf8");
    const id = await page.evaluate(async (text) => ((await (await fetch("/api/lifts", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ text }) })).json()) as { id: string }).id, text);
    await page.goto(`${program.url}/lift/${id}`);
    await page.getByRole("link", { name: "Open the plan desk" }).click();
    await page.getByRole("img", { name: "The load as it hangs" }).waitFor();
    await page.getByText("Nominal figures; the full check follows.").waitFor({ state: "detached" });
    const weight = await page.locator("dd").first().innerText();

    await program.stop();
    await page.reload();
    await page.getByRole("alert").getByText("NO LINK TO THE PROGRAM").waitFor();
    await page.getByRole("img", { name: "The load as it hangs" }).waitFor();
    expect(await page.locator("dd").first().innerText()).toBe(weight);
    // It does not look live: grey, in a dashed frame, and older every second.
    const colour = await page.locator("dd").first().evaluate((e) => getComputedStyle(e).color);
    expect(colour).not.toBe(await page.evaluate(() => getComputedStyle(document.documentElement).color));
    const age = () => page.getByRole("alert").first().innerText();
    const before = await age();
    await expect.poll(age, { timeout: 10_000 }).not.toBe(before);
    await page.goto(`${program.url}/lift/${id}`);
    await page.getByRole("heading", { name: "Revisions" }).waitFor();
    await look(page, "no-link");
    await page.getByRole("link", { name: "Open the plan desk" }).click();
    expect(said.filter(unlinked)).toEqual([]);
    said.length = 0;
  });

  test("what is entered without a link is refused, and not sent when it is back", async () => {
    await page.getByRole("button", { name: "Text", exact: true }).click();
    const box = page.getByRole("textbox", { name: "Text" });
    await box.fill((await box.inputValue()).replace("title:", "title: Z"));
    await page.getByText("What you write is kept here").waitFor();
    await page.getByRole("button", { name: "Save as a revision" }).click();
    await page.getByRole("alert").getByText("no answer from the program").waitFor();
    await program.start();
    await page.getByText("NO LINK TO THE PROGRAM.", { exact: true }).waitFor({ state: "detached" });
    await page.getByText("Work that was not saved is here").waitFor(); // and is for its writer to save
    await page.getByRole("heading", { level: 1 }).getByRole("link").click();
    await page.getByRole("heading", { name: "Revisions" }).waitFor();
    expect(await page.getByRole("listitem").filter({ hasText: "R. Vane" }).count()).toBe(1); // revision A alone
    expect(said.filter(unlinked)).toEqual([]);
    said.length = 0;
  });

  test("nothing live and no search is kept; who signs out leaves nothing behind", async () => {
    const kept = () => page.evaluate(async () => (await (await caches.open("seen")).keys()).map((r) => new URL(r.url).pathname));
    await page.evaluate(() => Promise.all(["/api/watch", "/api/status", "/api/lifts?q=pump", "/api/gear?q=a"].map((p) => fetch(p))));
    const paths = await kept();
    expect(paths).toContain("/api/lifts");
    expect(paths.filter((p) => /watch|status|gear$|records/.test(p))).toEqual([]);
    await page.getByRole("button", { name: "Menu" }).click();
    await page.getByRole("button", { name: "Sign out" }).click();
    await page.getByRole("button", { name: "Sign in" }).waitFor();
    await expect.poll(kept).toEqual([]);
  });
});

describe.skipIf(missing)(`a new build${missing && ` (${missing})`}`, () => {
  let context: BrowserContext, front: Server;
  const program = new Program();
  let build = 1;

  // The second build is the first with its start under another name, as a changed
  // one would have; all else is the program's.
  beforeAll(async () => {
    await program.start();
    context = await browser();
    front = createServer(async (req, res) => {
      const body = req.method === "GET" ? undefined : await new Promise<Buffer>((done) => { const parts: Buffer[] = []; req.on("data", (b: Buffer) => parts.push(b)); req.on("end", () => done(Buffer.concat(parts))); });
      const path = (req.url ?? "/").replace("-second.js", ".js");
      const { host: _h, connection: _c, "accept-encoding": _a, ...headers } = req.headers as Record<string, string>;
      const r = await fetch(program.url + path, { method: req.method!, headers: { ...headers, ...(headers.origin && { origin: program.url }) }, ...(body && { body: new Uint8Array(body) }), redirect: "manual" });
      let b: Buffer | string = Buffer.from(await r.arrayBuffer());
      if (build === 1 ? path !== req.url : false) return void res.writeHead(404).end();
      if (build === 2 && /^\/(sw\.js|lift.*)?$/.test(path)) b = b.toString().replaceAll(/(assets\/index-[\w-]+)\.js/g, "$1-second.js").replace(/"sum":"\w+"/g, '"sum":"2"');
      const out: Record<string, string> = {};
      for (const [k, v] of r.headers) if (!/content-(encoding|length)|etag|connection|transfer/.test(k)) out[k] = v;
      res.writeHead(r.status, out).end(b);
    });
    await new Promise<void>((done) => front.listen(0, "127.0.0.1", done));
  });
  afterAll(async () => {
    await context?.close();
    front?.closeAllConnections();
    front?.close();
    await program.end();
  });

  test("shows at the next load, and the old one's files go", async () => {
    const page = await context.newPage();
    page.setDefaultTimeout(15_000);
    const said = listen(page);
    const starts = () => page.evaluate(() => [...document.scripts].map((s) => /-second/.test(s.src)));
    await page.goto(`http://127.0.0.1:${(front.address() as AddressInfo).port}/`);
    await page.evaluate(() => navigator.serviceWorker.ready.then(() => true));
    await page.getByLabel("Code from the console").waitFor();
    expect(await starts()).toEqual([false]);
    build = 2;
    await page.reload();
    await page.getByLabel("Code from the console").waitFor();
    expect(await starts()).toEqual([true]);
    await expect.poll(() => page.evaluate(() => caches.keys()), { timeout: 15_000 }).toContain("shell 2");
    await expect.poll(() => page.evaluate(async () => (await caches.keys()).filter((k) => k.startsWith("shell"))), { timeout: 15_000 }).toEqual(["shell 2"]);
    expect(said).toEqual([]);
  });
});
