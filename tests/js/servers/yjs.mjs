// The WebSocket server of Yjs with its LevelDB persistence, and load for it. Every update that comes in is sent to all
// connections of its document, the sender's too: that echo is the answer. The update is queued for LevelDB at the same
// time and nobody waits for it; LevelDB writes without fsync. So the answer says nothing about the disk.

import { base64, content, run } from "./serving.mjs";
import * as encoding from "lib0/encoding";
import * as sync from "y-protocols/sync";
import * as Y from "yjs";

const SYNC = 0;

function frame(write) {
  const encoder = encoding.createEncoder();
  encoding.writeVarUint(encoder, SYNC);
  write(encoder);
  return base64(encoding.toUint8Array(encoder));
}

/** A client asks for what it lacks; the server answers with it. */
const hello = () => [[frame((encoder) => sync.writeSyncStep1(encoder, new Y.Doc())), ""]];

await run({
  async start(sockets, directory) {
    console.info = () => {};
    process.env.YPERSISTENCE = directory;
    const { getPersistence, setupWSConnection } = await import("@y/websocket-server/utils");
    sockets.on("connection", (socket, request) => setupWSConnection(socket, request));
    // Whatever is asked of the persistence waits for all that was asked before.
    return { settle: () => getPersistence().provider.getMeta("nothing", "nothing") };
  },
  make(writer, entries, watchers) {
    const doc = new Y.Doc();
    let update;
    doc.on("update", (made) => (update = made));
    const made = Array.from({ length: entries }, (_, at) => {
      const { key, bytes } = content(at);
      doc.getMap("entries").set(key, bytes);
      return [frame((encoder) => sync.writeUpdate(encoder, update)), base64(bytes)];
    });
    return { path: `/${writer}`, hello: hello(), entries: made, watch: Array.from({ length: watchers }, hello) };
  },
});
