import { defineConfig } from "vite";

export default defineConfig({
  base: "/",
  oxc: { jsx: { runtime: "automatic", importSource: "preact" } },
  worker: { format: "es" },
  build: {
    outDir: "../src/truestop/web/static",
    emptyOutDir: true,
    assetsInlineLimit: 0,
    license: { fileName: "third-party-licences.md" },
    target: "es2022",
    modulePreload: { polyfill: false },
  },
});
