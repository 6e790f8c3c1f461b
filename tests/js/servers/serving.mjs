// What the servers share: how the bench starts them, asks them to write out what they hold, and gives them load.
//
// `node <server>.mjs serve <directory>` prints `listening <port>`. For each line on standard input it writes out what
// it still holds in memory, collects garbage where Node lets it, and prints `settled`. It ends with its input.
//
// `node <server>.mjs make <writers> <entries> <watchers>` prints one line of JSON for each writer, who has a document:
//   {"path": where to connect, "hello": [exchange], "entries": [exchange], "watch": [the greeting of each watcher]}
// An exchange is [frame, answer] in base64: a binary frame to send, and bytes that occur in the frame that answers it.
// Where the answer is empty any frame is one, and where it is null none is waited for. The load is made beforehand, so
// that the bench's client costs the same for every server.

import { randomBytes } from "node:crypto";
import { createInterface } from "node:readline";
import { WebSocketServer } from "ws";

/** Bytes of one entry's content, as in the relay's bench. */
const ENTRY_BYTES = 300;
/** The relay's pause between pings. */
export const PING_MILLISECONDS = 25_000;

export const base64 = (bytes) => Buffer.from(bytes).toString("base64");

/** The content of one entry: bytes that nothing compresses, under one of 64 keys, so that a document stays small. */
export function content(at) {
  return { key: `k${at % 64}`, bytes: new Uint8Array(randomBytes(ENTRY_BYTES)) };
}

export async function run({ start, make }) {
  const [what, ...rest] = process.argv.slice(2);
  if (what === "make") {
    const [writers, entries, watchers] = rest.map(Number);
    for (let writer = 0; writer < writers; writer += 1) {
      if (!process.stdout.write(`${JSON.stringify(make(writer, entries, watchers))}\n`)) {
        await new Promise((drained) => process.stdout.once("drain", drained));
      }
    }
    return;
  }
  const sockets = new WebSocketServer({ host: "127.0.0.1", port: 0 });
  const { settle } = await start(sockets, rest[0]);
  if (sockets.address() === null) await new Promise((listening) => sockets.once("listening", listening));
  process.stdout.write(`listening ${sockets.address().port}\n`);
  for await (const _ of createInterface({ input: process.stdin })) {
    await settle();
    globalThis.gc?.();
    process.stdout.write("settled\n");
  }
  process.exit(0);
}
