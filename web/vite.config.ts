import { createHash } from "node:crypto";
import { readdirSync, readFileSync } from "node:fs";
import { svelte } from "@sveltejs/vite-plugin-svelte";
import type { Plugin } from "vite";
import { defineConfig } from "vitest/config";

// shell tells the service worker which files the app is made of.
function shell(): Plugin {
  return {
    name: "shell",
    enforce: "post",
    generateBundle(_, bundle) {
      const sum = createHash("sha256");
      const files: string[] = [];
      const add = (name: string, of: string | Uint8Array) => {
        sum.update(name).update(of);
        files.push(name === "index.html" ? "/" : `/${name}`);
      };
      for (const f of Object.values(bundle)) if (f.fileName !== "sw.js") add(f.fileName, f.type === "chunk" ? f.code : f.source);
      for (const name of readdirSync("public")) if (!name.startsWith(".")) add(name, readFileSync(`public/${name}`));
      const worker = bundle["sw.js"];
      if (worker?.type !== "chunk") throw new Error("the service worker was not built");
      worker.code = worker.code.replaceAll("__SHELL__", JSON.stringify({ sum: sum.digest("hex").slice(0, 16), files }));
    },
  };
}

// npm run dev shows the app of the sources, with the API of a program that
// serves on its usual address.
export default defineConfig({
  plugins: [svelte(), shell()],
  build: {
    target: "es2022",
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    rollupOptions: {
      input: { index: "index.html", sw: "src/sw.ts" },
      output: { entryFileNames: (c) => (c.name === "sw" ? "sw.js" : "assets/[name]-[hash].js") },
    },
  },
  server: { proxy: { "/api": "http://127.0.0.1:8470" } },
  test: { testTimeout: 120_000, hookTimeout: 120_000 },
});
