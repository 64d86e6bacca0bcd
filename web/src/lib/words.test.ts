import { expect, test } from "vitest";
import en from "../words/en.json";
import es from "../words/es.json";

const holes = (text: string) => [...text.matchAll(/\{\w+\}/g)].map((m) => m[0]).sort();

test("every language has every text, with the same gaps to fill", () => {
  expect(Object.keys(es).sort()).toEqual(Object.keys(en).sort());
  for (const [key, text] of Object.entries(en)) {
    const other = es[key as keyof typeof es];
    expect(other.trim(), key).not.toBe("");
    expect(holes(other), key).toEqual(holes(text));
  }
});

test("no text says that it is safe, nor that anybody may go", () => {
  const promise = /\b(safe|safely|ok to|good to go|go ahead|all clear|cleared to|seguro|segura|sin peligro|adelante|vía libre)\b/i;
  for (const words of [en, es]) for (const [key, text] of Object.entries(words)) expect(text, key).not.toMatch(promise);
});
