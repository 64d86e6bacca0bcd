// Figures as the office reads them, and the lift file as a document whose values
// are set one by one without touching the rest of its text.
import { isMap, isPair, isScalar, isSeq, parseDocument, type Document, type Node } from "yaml";

export const kN = (n: number | null | undefined, figures = 3) => (n == null ? "–" : `${Number((n / 1000).toPrecision(figures))} kN`);
export const percent = (x: number | null | undefined) => (x == null ? "–" : `${Math.ceil(100 * x - 1e-9)} %`);
export const degrees = (x: number | null | undefined) => (x == null ? "–" : `${x.toFixed(1)}°`);
export const metres = (x: number | null | undefined) => (x == null ? "–" : `${x.toFixed(3)} m`);
export const day = (at: string) => at.slice(0, 10);
export const moment = (at: string) => new Date(at).toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });

export type Path = (string | number)[];

// A field is one value of the lift file, with where it stands.
export interface Field {
  path: Path;
  value: string;
}

// fields lists the values of a document in order; what cannot be read has none.
export function fields(text: string): Field[] {
  const out: Field[] = [];
  const walk = (node: unknown, path: Path) => {
    if (isMap(node)) {
      for (const p of node.items) if (isPair(p) && isScalar(p.key)) walk(p.value, [...path, String(p.key.value)]);
    } else if (isSeq(node)) node.items.forEach((n, i) => walk(n, [...path, i]));
    else if (isScalar(node)) out.push({ path, value: String(node.source ?? node.value ?? "") });
  };
  walk(parseDocument(text).contents, []);
  return out;
}

// plain writes a value so that YAML reads it back as one.
const plain = (value: string) => (value === "" || /^[\s\-?:,[\]{}#&*!|>'"%@`]|[,[\]{}]|: |:$| #/.test(value) ? JSON.stringify(value) : value);

// set gives the text with one value changed or added; all the rest stays, byte
// for byte, where the value was there before.
export function set(text: string, path: Path, value: string): string {
  const doc: Document = parseDocument(text);
  const node = doc.getIn(path, true) as Node | undefined;
  if (isScalar(node) && node.range) return text.slice(0, node.range[0]) + plain(value) + text.slice(node.range[1]);
  doc.setIn(path, value);
  return doc.toString({ lineWidth: 0, flowCollectionPadding: false });
}

// where reads a path as the program writes it: legs.west.stack[4].length, places
// in a list counting from 1.
export function where(path: string): Path {
  return path.split(".").flatMap((p) => {
    const [name, ...places] = p.split("[");
    return [...(name ? [name] : []), ...places.map((n) => Number.parseInt(n) - 1)];
  });
}

// written is a path as people read it.
export const written = (path: Path) => path.map((p, i) => (typeof p === "number" ? `[${p + 1}]` : i ? `.${p}` : p)).join("");
