// Bundles the browser code and the styles. Called by packaging/hatch_build.py with the folder to write to; names carry
// a hash of the content, and manifest.json maps plain names to them.
import { build } from "esbuild";
import { mkdir, writeFile } from "node:fs/promises";
import { basename, join, relative } from "node:path";
import { fileURLToPath } from "node:url";

const here = fileURLToPath(new URL(".", import.meta.url));
const out = process.argv[2];
if (!out) {
  console.error("build.mjs: say which folder to write to");
  process.exit(2);
}

const result = await build({
  absWorkingDir: here,
  entryPoints: { forestay: "src/main.ts", worker: "src/worker.ts", style: "styles/main.css" },
  outdir: out,
  bundle: true,
  minify: true,
  sourcemap: false,
  format: "iife",
  target: ["es2022"],
  charset: "utf8",
  legalComments: "none",
  entryNames: "[name]-[hash]",
  assetNames: "fonts/[name]-[hash]",
  loader: { ".woff2": "file" },
  metafile: true,
  logLevel: "warning",
});

const manifest = {};
for (const [path, made] of Object.entries(result.metafile.outputs)) {
  if (made.entryPoint) {
    const kind = path.endsWith(".css") ? "css" : "js";
    const name = basename(path).replace(/-[A-Z0-9]{8}\./, ".");
    manifest[`${name.split(".")[0]}.${kind}`] = relative(out, join(here, path)).replaceAll("\\", "/");
  }
}
await mkdir(out, { recursive: true });
await writeFile(join(out, "manifest.json"), `${JSON.stringify(manifest, null, 2)}\n`);
