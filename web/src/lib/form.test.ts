import { readFileSync, readdirSync } from "node:fs";
import { expect, test } from "vitest";
import { parseDocument } from "yaml";
import { fields, set, where, written } from "./form";

const examples = readdirSync("../examples").filter((f) => f.endsWith(".yaml")).map((f) => readFileSync(`../examples/${f}`, "utf8"));

test("every value of every example can be set to what it is, and nothing moves", () => {
  expect(examples.length).toBeGreaterThan(2);
  for (const text of examples) for (const f of fields(text)) if (!/^["']/.test(f.value)) expect(parseDocument(set(text, f.path, f.value)).toJS()).toEqual(parseDocument(text).toJS());
});

test("a value is changed in place, comments and all else stay", () => {
  const text = "# ours\nlegs:\n  west: {length: 3 m, wll: 5 t} # the long one\n";
  expect(set(text, ["legs", "west", "length"], "3.2 m ± 0.5 %")).toBe("# ours\nlegs:\n  west: {length: 3.2 m ± 0.5 %, wll: 5 t} # the long one\n");
  expect(parseDocument(set(text, ["legs", "west", "to"], "load.a, b")).getIn(["legs", "west", "to"])).toBe("load.a, b");
  expect(parseDocument(set("title: a\n", ["title"], "x: y # z")).get("title")).toBe("x: y # z");
});

test("paths are read as they are written, places counting from 1", () => {
  expect(where("legs.west.stack[4].length")).toEqual(["legs", "west", "stack", 3, "length"]);
  expect(written(where("legs.west.stack[4].length"))).toBe("legs.west.stack[4].length");
});
