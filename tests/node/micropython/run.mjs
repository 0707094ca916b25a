// Runs the firmware's pure part under the real MicroPython, compiled to WebAssembly:
//   node run.mjs MICROPYTHON_FOLDER FIRMWARE_FOLDER SUITE.py
// Its last line is "N passed, M failed"; the exit code is 1 where one failed or nothing ran.
import { readFileSync, readdirSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

const [micropython, firmware, suite] = process.argv.slice(2);
// Otherwise an error prints the interpreter's whole minified source.
process.on("uncaughtException", (error) => { console.error(String(error?.message ?? error)); process.exit(2); });

let last = "";
const { loadMicroPython } = await import(pathToFileURL(join(micropython, "micropython.mjs")).href);
const mp = await loadMicroPython({
  url: join(micropython, "micropython.wasm"),
  heapsize: 2 * 1024 * 1024,
  linebuffer: true,
  stdout: (line) => { last = line; console.log(line); },
});
mp.FS.mkdirTree("/lib/slownode");
const pure = join(firmware, "slownode");
for (const name of readdirSync(pure).filter((name) => name.endsWith(".py"))) {
  mp.FS.writeFile(`/lib/slownode/${name}`, readFileSync(join(pure, name)));
}
for (const name of ["board.py", "main.py"]) mp.FS.writeFile(`/lib/${name}`, readFileSync(join(firmware, name)));
const standIns = join(import.meta.dirname, "stand_ins");
for (const name of readdirSync(standIns)) mp.FS.writeFile(`/lib/${name}`, readFileSync(join(standIns, name)));
mp.runPython("import sys\nsys.path.append('/lib')");
mp.runPython(readFileSync(suite, "utf8"));
process.exit(/^[1-9]\d* passed, 0 failed$/.test(last) ? 0 : 1);
