import { svelte } from "@sveltejs/vite-plugin-svelte";
import { defineConfig } from "vitest/config";

// npm run dev shows the app of the sources, with the API of a program that
// serves on its usual address.
export default defineConfig({
  plugins: [svelte()],
  build: { target: "es2022", assetsInlineLimit: 0, modulePreload: { polyfill: false } },
  server: { proxy: { "/api": "http://127.0.0.1:8470" } },
  test: { testTimeout: 120_000, hookTimeout: 120_000 },
});
