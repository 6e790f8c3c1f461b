// The work of a bench's documents, done with general-purpose libraries: the same maps, keys, texts and changes.
//
// In, on standard input, JSON: {"rounds": n, "documents": [{"maps": [map], "base": [change], "devices": [[change]]}]},
// where a change is [[map, key, text], ...]. Every device starts from the base, makes its changes apart, one update a
// change; then all updates are merged into the base. Out, on standard output, a line of figures for each library:
//   name<tab>merge ms<tab>saved bytes<tab>load ms
// Times are medians over the rounds, after one round that does not count. Where a library can take the updates in more
// than one way, its fastest is taken. Loading is to the point where every value was read.

import * as Automerge from "@automerge/automerge";
import { LoroDoc } from "loro-crdt";
import { readFileSync } from "node:fs";
import * as Y from "yjs";

const { rounds, documents } = JSON.parse(readFileSync(0, "utf8"));

const yjs = {
  make({ base, devices }) {
    const first = new Y.Doc();
    yjs.write(first, base);
    const saved = Y.encodeStateAsUpdate(first);
    const updates = devices.map((changes) => {
      const doc = new Y.Doc();
      Y.applyUpdate(doc, saved);
      const made = [];
      doc.on("update", (update) => made.push(update));
      yjs.write(doc, changes);
      return made;
    });
    return { saved, updates };
  },
  write(doc, changes) {
    for (const puts of changes) {
      doc.transact(() => {
        for (const [map, key, text] of puts) doc.getMap(map).set(key, text);
      });
    }
  },
  open({ saved }, { maps }) {
    const doc = new Y.Doc();
    Y.applyUpdate(doc, saved);
    let sum = 0;
    for (const map of maps) for (const text of doc.getMap(map).values()) sum += text.length;
    return doc;
  },
  ways: [
    (doc, { updates }) => {
      for (const update of updates.flat()) Y.applyUpdate(doc, update);
      return doc;
    },
    (doc, { updates }) => {
      doc.transact(() => updates.flat().forEach((update) => Y.applyUpdate(doc, update)));
      return doc;
    },
    (doc, { updates }) => {
      Y.applyUpdate(doc, Y.mergeUpdates(updates.flat()));
      return doc;
    },
  ],
  save: (doc) => Y.encodeStateAsUpdate(doc),
  count: (doc, map) => doc.getMap(map).size,
};

// Yjs' second format is smaller and not what its own providers keep; its size is told beside the first.
const yjsSecond = { ...yjs, save: (doc) => Y.encodeStateAsUpdateV2(doc), ways: yjs.ways.slice(2), open: null };

const automerge = {
  make({ maps, base, devices }) {
    const empty = Automerge.change(Automerge.init(), { time: 0 }, (draft) => {
      for (const map of maps) draft[map] = {};
    });
    const first = automerge.write(empty, base, []);
    const updates = devices.map((changes) => {
      const made = [];
      automerge.write(Automerge.clone(first), changes, made);
      return made;
    });
    return { saved: Automerge.save(first), updates };
  },
  write(start, changes, made) {
    return changes.reduce((doc, puts) => {
      const after = Automerge.change(doc, { time: 0 }, (draft) => {
        for (const [map, key, text] of puts) draft[map][key] = new Automerge.ImmutableString(text);
      });
      made.push(Automerge.getLastLocalChange(after));
      return after;
    }, start);
  },
  // Opening makes plain objects of everything: every value has been read.
  open: ({ saved }) => Automerge.load(saved),
  ways: [(doc, { updates }) => Automerge.applyChanges(doc, updates.flat())[0]],
  save: (doc) => Automerge.save(doc),
  count: (doc, map) => Object.keys(doc[map]).length,
};

const loro = {
  make({ base, devices }) {
    const first = new LoroDoc();
    loro.write(first, base, []);
    const saved = first.export({ mode: "snapshot" });
    const updates = devices.map((changes) => {
      const doc = LoroDoc.fromSnapshot(saved);
      const made = [];
      loro.write(doc, changes, made);
      return made;
    });
    return { saved, updates };
  },
  write(doc, changes, made) {
    for (const puts of changes) {
      const before = doc.oplogVersion();
      for (const [map, key, text] of puts) doc.getMap(map).set(key, text);
      doc.commit();
      made.push(doc.export({ mode: "update", from: before }));
    }
  },
  open({ saved }) {
    const doc = LoroDoc.fromSnapshot(saved);
    doc.toJSON();
    return doc;
  },
  ways: [
    (doc, { updates }) => {
      doc.importBatch(updates.flat());
      return doc;
    },
  ],
  save: (doc) => doc.export({ mode: "snapshot" }),
  count: (doc, map) => doc.getMap(map).size,
};

const median = (values) => values.sort((a, b) => a - b)[values.length >> 1];

const pause = new Int32Array(new SharedArrayBuffer(4));

/// Milliseconds that this thread has been on a processor, so that a busy machine does not change what is measured; where
/// that cannot be had, the clock. The pause makes the kernel bring its figure up to date.
function onCpu() {
  Atomics.wait(pause, 0, 0, 1);
  try {
    return Number(readFileSync("/proc/thread-self/schedstat", "utf8").split(" ")[0]) / 1e6;
  } catch {
    return performance.now();
  }
}

function timed(work) {
  const start = onCpu();
  const done = work();
  return [onCpu() - start, done];
}

/// What must be there in the end: distinct keys of every map.
function expected({ maps, base, devices }) {
  const keys = Object.fromEntries(maps.map((map) => [map, new Set()]));
  for (const [map, key] of [base, ...devices].flat(2)) keys[map].add(key);
  return keys;
}

function check(library, name, docs) {
  docs.forEach((doc, at) => {
    for (const [map, keys] of Object.entries(expected(documents[at]))) {
      if (library.count(doc, map) !== keys.size) throw new Error(`${name} has not all of ${map}`);
    }
  });
}

function measure(name, library) {
  const made = documents.map((document) => library.make(document));
  const open = library.open ?? yjs.open;
  const best = library.ways.map((way) => {
    const times = [];
    for (let round = 0; round <= rounds; round++) {
      const docs = made.map((saved, at) => open(saved, documents[at]));
      const [time, merged] = timed(() => docs.map((doc, at) => way(doc, made[at])));
      check(library, name, merged);
      if (round > 0) times.push(time);
      library.merged = merged;
    }
    return median(times);
  });
  const saved = library.merged.map((doc) => ({ saved: library.save(doc) }));
  const size = saved.reduce((sum, { saved }) => sum + saved.length, 0);
  let load = "";
  if (library.open) {
    const times = [];
    for (let round = 0; round <= rounds; round++) {
      const [time] = timed(() => saved.map((one, at) => library.open(one, documents[at])));
      if (round > 0) times.push(time);
    }
    load = median(times).toFixed(3);
  }
  console.log([name, Math.min(...best).toFixed(3), size, load].join("\t"));
}

measure("yjs", yjs);
measure("yjs, second format", yjsSecond);
measure("loro-crdt", loro);
measure("@automerge/automerge", automerge);
