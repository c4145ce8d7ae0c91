// The page is built into web/dist and from there into the program. While working on it, `npx vite` serves
// it with /api passed on to a running `eyelet serve`.
import { defineConfig } from "vite";

export default defineConfig({
  base: "./",
  build: { target: "es2021", assetsInlineLimit: 0, chunkSizeWarningLimit: 900 },
  server: {
    host: "127.0.0.1",
    proxy: { "/api": { target: `http://127.0.0.1:${process.env.EYELET_PORT ?? "8470"}`, changeOrigin: true } },
  },
});
