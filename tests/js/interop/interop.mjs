// Opens saved documents, says what is in them, edits them as two devices that are apart would, and says what came of it.
//
// In, on standard input, JSON: [{"saved": hex, "devices": [[[map, key, text], ...] a change, ...] a device, ...]}]
// Out, on standard output, JSON: [{"before": view, "after": view, "saved": hex, "changes": [hex, ...]}]
// A view is {"heads": [hex, ...], "maps": {map: {key: [text, ...]}}}, heads and texts sorted.

import * as Automerge from "@automerge/automerge";
import { readFileSync } from "node:fs";

const hex = (bytes) => Buffer.from(bytes).toString("hex");
const unhex = (text) => new Uint8Array(Buffer.from(text, "hex"));

/// A scalar text is an immutable string here, a plain string would be a text that is edited letter by letter, which no
/// document of ours has; only among values set apart are scalar texts told as plain strings. A number stands as itself.
function shown(value, apart) {
  if (Automerge.isImmutableString(value) || (apart && typeof value === "string")) return value.toString();
  return typeof value === "number" || typeof value === "bigint" ? String(value) : `${typeof value} ${JSON.stringify(value)}`;
}

function view(document) {
  const maps = {};
  for (const map of Object.keys(document)) {
    maps[map] = {};
    for (const key of Object.keys(document[map])) {
      const apart = Automerge.getConflicts(document[map], key);
      const values = apart === undefined ? [document[map][key]] : Object.values(apart);
      maps[map][key] = values.map((value) => shown(value, apart !== undefined)).sort();
    }
  }
  return { heads: Automerge.getHeads(document).sort(), maps };
}

function edited(base, changes) {
  let document = Automerge.clone(base);
  const made = [];
  for (const puts of changes) {
    document = Automerge.change(document, { time: 0 }, (draft) => {
      for (const [map, key, text] of puts) draft[map][key] = new Automerge.ImmutableString(text);
    });
    made.push(Automerge.getLastLocalChange(document));
  }
  return { document, made };
}

const answers = JSON.parse(readFileSync(0, "utf8")).map(({ saved, devices }) => {
  const base = Automerge.load(unhex(saved));
  const apart = devices.map((changes) => edited(base, changes));
  const met = apart.reduce((met, { document }) => Automerge.merge(met, document), Automerge.clone(base));
  const changes = apart.flatMap(({ made }) => made.map(hex));
  return { before: view(base), after: view(met), saved: hex(Automerge.save(met)), changes };
});
process.stdout.write(JSON.stringify(answers));
