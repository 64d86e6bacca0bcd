// Persons: who is added and may do what, a forgotten password, a tablet that
// changes hands.
import type { BrowserContext, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { begin, browser, listen, missing, Program } from "./browse";
import { look, menu } from "./look";

describe.skipIf(missing)(`persons${missing && ` (${missing})`}`, () => {
  let context: BrowserContext, page: Page, said: string[];
  const program = new Program();

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
  const item = (name: string) => page.getByRole("listitem").filter({ hasText: name });

  test("an admin adds a rigger with a PIN", async () => {
    await menu(page);
    await page.getByRole("link", { name: "People" }).click();
    await page.getByLabel("Name", { exact: true }).fill("T. Okoro");
    await page.getByLabel("First password").fill("lantern boat 7");
    await page.getByLabel(/^PIN of 4/).fill("1234");
    await page.getByRole("button", { name: "Add" }).click();
    await page.getByRole("alert").getByText(/counts up/).waitFor(); // the first PIN that anybody tries
    await page.getByLabel(/^PIN of 4/).fill("4071");
    await page.getByRole("button", { name: "Add" }).click();
    await item("T. Okoro").getByText("has a PIN").waitFor();
    expect(said.filter((s) => !/status of 422/.test(s))).toEqual([]);
    said.length = 0;
    await look(page, "people");
  });

  test("the only admin stays one; a role is changed", async () => {
    await item("R. Vane").getByLabel("Role").selectOption("viewer");
    await page.getByRole("alert").getByText(/only admin/).waitFor();
    await item("T. Okoro").getByLabel("Role").selectOption("planner");
    await page.getByRole("status").getByText("T. Okoro: changed.").waitFor();
    expect(said.filter((s) => !/status of 4\d\d/.test(s))).toEqual([]);
    said.length = 0;
  });

  test("a screen gets a link that opens the far display and nothing else", async () => {
    await page.getByLabel("What the screen is called").fill("yard");
    await page.getByRole("button", { name: "Make its link" }).click();
    const link = await page.getByText(/\/screen\//).innerText();
    const yard = await browser();
    try {
      const far = await yard.newPage();
      await far.goto(link.split("\n").at(-1)!.trim());
      expect(new URL(far.url()).pathname).toBe("/far");
      expect(await far.evaluate(() => fetch("/api/lifts").then((r) => r.status))).toBe(403);
    } finally {
      await yard.close();
    }
  });

  test("a tablet changes hands by PIN", async () => {
    await page.getByRole("link", { name: "R. Vane" }).click();
    await page.getByLabel("Who takes over").fill("T. Okoro");
    await page.getByLabel("PIN", { exact: true }).fill("4071");
    await page.getByRole("button", { name: "Take over" }).click();
    await page.getByRole("heading", { name: "T. Okoro" }).waitFor();
    await page.getByText(/Taken over by PIN/).waitFor();
    await look(page, "me");
    await page.getByRole("button", { name: "R. Vane" }).click(); // signed in here before
    await page.getByLabel("PIN", { exact: true }).fill("9999");
    await page.getByRole("button", { name: "Take over" }).click();
    await page.getByRole("alert").waitFor(); // has no PIN
    await page.getByRole("button", { name: "T. Okoro" }).waitFor({ state: "detached" });
    expect(said.filter((s) => !/status of 4\d\d/.test(s))).toEqual([]);
    said.length = 0;
  });

  test("a planner sees no persons; who signs out can sign in", async () => {
    await menu(page);
    expect(await page.getByRole("link", { name: "People" }).count()).toBe(0); // a planner
    await page.getByRole("button", { name: "Sign out" }).click();
    await page.getByLabel("Name").fill("R. Vane");
    await page.getByLabel("Password").fill("quayside crane 42");
    await page.getByRole("button", { name: "Sign in" }).click();
    await page.getByLabel("Password as it is").waitFor();
  });

  test("one's own PIN is set by the password, and shut by five wrong tries", async () => {
    await page.getByLabel("Password as it is").fill("quayside crane 42");
    await page.getByLabel("New PIN, 4 to 8 digits").fill("8052");
    await page.getByRole("button", { name: "Set the PIN" }).click();
    await page.getByText("The PIN is set.").waitFor();
    const tried = await page.evaluate(async () => {
      const out: number[] = [];
      for (let i = 0; i < 6; i++)
        out.push((await fetch("/api/session/pin", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ name: "T. Okoro", pin: i < 5 ? "5093" : "4071" }) })).status);
      return out;
    });
    expect(tried.slice(0, 5)).toEqual([401, 401, 401, 401, 401]);
    expect(tried[5]).toBeGreaterThanOrEqual(400); // the right one, too late
    said.length = 0;
  });

  test("a forgotten password is set anew, and opens the PIN", async () => {
    await menu(page);
    await page.getByRole("link", { name: "People" }).click();
    await item("T. Okoro").getByText("PIN shut").waitFor();
    await item("T. Okoro").getByLabel("New password for T. Okoro").fill("copper kettle 19");
    await item("T. Okoro").getByRole("button", { name: "Set" }).click();
    await item("T. Okoro").getByText("has a PIN").waitFor();
    await item("T. Okoro").getByRole("button", { name: "End access" }).click();
    await item("T. Okoro").getByText("may no longer sign in").waitFor();
    expect(said).toEqual([]);
  });
});
