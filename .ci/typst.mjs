// Holds a Typst template to its formatter; with --write it is put into that form.
import { readFileSync, writeFileSync } from "node:fs";
import { format } from "@typstyle/typstyle-wasm-bundler";

const [how, ...files] = process.argv.slice(2);
let unlike = 0;
for (const file of files) {
  const text = readFileSync(file, "utf8");
  const formatted = format(text, { max_width: 100 });
  if (text === formatted) continue;
  unlike += 1;
  if (how === "--write") writeFileSync(file, formatted);
  else console.error(`${file} is not as its formatter writes it`);
}
process.exitCode = how === "--check" && unlike ? 1 : 0;
