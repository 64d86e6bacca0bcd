// ask speaks with the program. What it refuses comes back as a Refusal, whose
// faults say what is wrong, where, and what to do.

import { link } from "./link.svelte";

export interface Fault {
  code: string;
  what: string;
  where?: string;
  file?: string;
  line?: number;
  column?: number;
  do?: string;
}

export class Refusal extends Error {
  constructor(
    readonly status: number, // 0: no answer
    readonly faults: Fault[],
  ) {
    super(faults.map((f) => (f.do ? `${f.what}: ${f.do}` : f.what)).join(". "));
  }
}

export async function ask<T>(method: string, path: string, body?: unknown, within = 10_000): Promise<T> {
  let r: Response;
  try {
    const init: RequestInit = { method, signal: AbortSignal.timeout(within) };
    if (body instanceof Blob) init.body = body;
    else if (body !== undefined) {
      init.body = JSON.stringify(body);
      init.headers = { "Content-Type": "application/json" };
    }
    r = await fetch(path, init);
  } catch {
    throw new Refusal(0, [{ code: "link", what: "no answer from the program", do: "look at the link; what was sent may or may not have been entered, and is not sent again" }]);
  }
  const seen = r.headers.get("X-Seen");
  if (seen) link.note(seen);
  if (r.status === 204) return undefined as T;
  const is = r.headers.get("Content-Type") ?? "";
  if (r.ok) return (is.includes("json") ? r.json() : r.text()) as Promise<T>;
  const faults = is.includes("json") ? ((await r.json()) as { faults?: Fault[] }).faults : undefined;
  throw new Refusal(r.status, faults?.length ? faults : [{ code: "internal", what: `the program answers ${r.status}` }]);
}

export const get = <T>(path: string) => ask<T>("GET", path);
export const post = <T>(path: string, body: unknown = {}) => ask<T>("POST", path, body);
