// The office: from first start to an approved plan, on the screens as they are.
import { readFileSync } from "node:fs";
import type { BrowserContext, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { browser, listen, missing, Program } from "./browse";
import { look as lookAt, menu } from "./look";

describe.skipIf(missing)(`the office${missing && ` (${missing})`}`, () => {
  let context: BrowserContext, page: Page, said: string[];
  const program = new Program();

  beforeAll(async () => {
    await program.start();
    context = await browser();
    page = await context.newPage();
    page.setDefaultTimeout(15_000);
    said = listen(page);
  });
  afterAll(async () => {
    await context?.close();
    await program.end();
  });

  const look = (name: string) => lookAt(page, name);

  test("first start asks for the code of the console", async () => {
    await page.goto(program.url);
    await page.getByLabel("Code from the console").fill("WRONGCODE123");
    await page.getByLabel("Name").fill("R. Vane");
    await page.getByLabel("Password").fill("quayside crane 42");
    await page.getByRole("button", { name: "Begin" }).click();
    await page.getByRole("alert").waitFor();
    await look("first-start");
    await page.getByLabel("Code from the console").fill(program.code);
    await page.getByRole("button", { name: "Begin" }).click();
    await page.getByRole("heading", { name: "Lifts" }).waitFor();
    // The refusal of the wrong code is the one thing the console may name.
    expect(said.filter((s) => !/status of 4\d\d/.test(s))).toEqual([]);
    said.length = 0;
  });

  test("the shapes that the app is built on are those that the program speaks", async () => {
    const spoken = (await page.evaluate(() => fetch("/api/openapi.json").then((r) => r.json()))) as { info: { version: string } };
    spoken.info.version = "0";
    // To renew web/api.json: keep what /api/openapi.json answers, its version set to 0.
    expect(spoken).toEqual(JSON.parse(readFileSync("api.json", "utf8")));
  });

  test("a two-leg lift is written and seen hanging", async () => {
    await page.getByText("New lift").click();
    for (const [label, value] of [
      ["What is lifted", "Valve body, chamber 2"],
      ["Mass, with its unit and spread", "3.2 t ± 3 %"],
      ["Distance between the lugs", "1.4 m"],
      ["Height of the lugs above the foot", "1.2 m"],
      ["Length of each leg", "2.0 m ± 0.5 %"],
      ["WLL of each leg, off the tag", "3 t"],
      ["WLL of each lug", "3 t"],
      ["WLL of the hook", "8 t"],
    ] as const)
      await page.getByLabel(label).fill(value);
    await look("lifts");
    await page.getByRole("button", { name: "Begin the plan" }).first().click();
    await page.getByRole("img", { name: "The load as it hangs" }).waitFor();
    // Two legs of 2 m, 0.7 m out: tension = W/2 × 2/√(2² − 0.7²), by hand.
    const tension = ((3200 * 9.80665) / 2 / 1000) * (2 / Math.sqrt(4 - 0.49));
    await page.getByRole("cell", { name: `${Number(tension.toPrecision(3))} kN` }).first().waitFor();
    await look("desk");
    expect(said).toEqual([]);
  });

  test("an edit hangs the load again; what is not saved survives a reload", async () => {
    await page.getByLabel("west.length").fill("1.0 m");
    await page.getByLabel("west.length").blur();
    await page.getByText("Not saved").waitFor();
    await page.reload();
    await page.getByText("Work that was not saved is here").waitFor();
    await page.getByRole("button", { name: "Take it up" }).click();
    expect(await page.getByLabel("west.length").inputValue()).toBe("1.0 m");
    await page.getByLabel("west.length").fill("1.9 m");
    await page.getByLabel("west.length").blur();
    await page.getByPlaceholder("What changed, in a word").fill("shorter west leg");
    await page.getByRole("button", { name: "Save as a revision" }).click();
    await page.getByText("Saved: revision B.").waitFor();
    expect(said).toEqual([]);
  });

  test("a mistake is named with its line, and nothing is lost", async () => {
    await page.getByLabel("west.length").fill("3 ton");
    await page.getByLabel("west.length").blur();
    await page.getByRole("alert").getByText(/line \d+, column \d+/).first().waitFor();
    await page.getByLabel("west.length").fill("1.9 m");
    await page.getByLabel("west.length").blur();
    await page.getByRole("alert").waitFor({ state: "detached" });
    expect(said.filter((s) => !/status of 422/.test(s))).toEqual([]);
    said.length = 0;
  });

  test("revisions are compared, and the plan is approved by password", async () => {
    await page.getByRole("link", { name: "Valve body, chamber 2" }).click();
    await page.getByRole("button", { name: "Compare with B" }).click();
    await page.getByRole("row", { name: /legs\.west\.length/ }).waitFor();
    for (const box of await page.getByPlaceholder("Answer for it").all()) await box.fill("trial lift, all persons clear");
    await page.getByLabel("Hold points, one a line").fill("daylight all round");
    await page.getByLabel("Your password").fill("quayside crane 42");
    await look("lift");
    await page.getByRole("button", { name: "Approve" }).click();
    await page.getByText(/Approved: revision B, R\. Vane/).waitFor();
    await page.getByRole("button", { name: "Done" }).first().click();
    expect(said).toEqual([]);
  });

  test("the lesson asks first and shows then", async () => {
    await page.getByRole("link", { name: "Angles" }).click();
    await page.getByLabel("Your guess, kN").fill("20");
    await page.getByRole("button", { name: "Show" }).click();
    await page.getByText("The tape rule").first().waitFor();
    await look("lesson");
    expect(said).toEqual([]);
  });

  test("gear is imported after a look through it, and found", async () => {
    await page.getByRole("link", { name: "Gear" }).click();
    await page.getByLabel("Import a list (CSV)").setInputFiles("../examples/register/gear-list.csv");
    await page.getByRole("button", { name: "Look through it first" }).click();
    await page.getByText(/rows: \d+ new/).waitFor();
    await page.getByRole("button", { name: "Take it over" }).click();
    await page.getByRole("button", { name: "Take it over", disabled: true }).waitFor();
    await page.reload();
    await page.getByRole("row").nth(1).waitFor();
    await look("gear");
    await page.getByRole("row").nth(1).getByRole("link").click();
    await page.getByRole("heading", { name: "History" }).waitFor();
    await look("item");
    expect(said).toEqual([]);
  });

  test("all of it speaks Spanish", async () => {
    await menu(page);
    await page.getByLabel("Language").selectOption("es");
    await page.getByRole("heading", { name: "Historia" }).waitFor();
    await page.getByRole("link", { name: "Izajes" }).click();
    await page.getByRole("listitem").getByText("aprobado").waitFor();
    await look("izajes");
    expect(said).toEqual([]);
  });
});
