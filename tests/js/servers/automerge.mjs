// The sync server of automerge-repo with its storage in files, and load for it. The answer to a change is the server's
// next sync message, whose heads are the change's hash: it has been applied in memory. It is saved up to 100 ms later
// (the library's default), without fsync. So the answer says nothing about the disk.

import { base64, content, PING_MILLISECONDS, run } from "./serving.mjs";
import * as Automerge from "@automerge/automerge";
import { generateAutomergeUrl, parseAutomergeUrl, Repo } from "@automerge/automerge-repo";
import { WebSocketServerAdapter } from "@automerge/automerge-repo-network-websocket";
import { NodeFSStorageAdapter } from "@automerge/automerge-repo-storage-nodefs";
import { encode } from "cbor-x";

const SERVER = "server";

const hashOf = (hex) => base64(Buffer.from(hex, "hex"));

/** A client's side of a document, and what it and the server would say to each other. */
function peer(senderId, documentId, doc) {
  let server = Automerge.init();
  let [mine, its] = [Automerge.initSyncState(), Automerge.initSyncState()];
  return {
    /** Both sides talk until they are silent; the frames that the client sends. */
    talk(other) {
      if (other !== undefined) server = Automerge.clone(other);
      const frames = [];
      for (;;) {
        const [next, message] = Automerge.generateSyncMessage(doc, mine);
        mine = next;
        if (message !== null) {
          const type = Automerge.getHeads(doc).length === 0 ? "request" : "sync";
          frames.push(base64(encode({ type, senderId, targetId: SERVER, documentId, data: message })));
          [server, its] = Automerge.receiveSyncMessage(server, its, message);
        }
        const [after, answer] = Automerge.generateSyncMessage(server, its);
        its = after;
        if (answer !== null) [doc, mine] = Automerge.receiveSyncMessage(doc, mine, answer);
        if (message === null && answer === null) return frames;
      }
    },
    change(callback) {
      doc = Automerge.change(doc, { time: 0 }, callback);
    },
    heads: () => Automerge.getHeads(doc),
    server: () => server,
  };
}

function join(senderId) {
  const message = { type: "join", senderId, peerMetadata: { isEphemeral: true }, supportedProtocolVersions: ["1"] };
  return [base64(encode(message)), ""];
}

await run({
  async start(sockets, directory) {
    const network = [new WebSocketServerAdapter(sockets, PING_MILLISECONDS)];
    // As automerge's own sync server does: documents are told to those who ask for them.
    const sharePolicy = async () => false;
    const repo = new Repo({ network, storage: new NodeFSStorageAdapter(directory), peerId: SERVER, sharePolicy });
    // The repo reads its own id from storage before it listens to sockets; who comes earlier is never heard.
    while (sockets.listenerCount("connection") === 0) await new Promise((later) => setTimeout(later, 5));
    return { settle: () => repo.flush() };
  },
  make(writer, entries, watchers) {
    const { documentId } = parseAutomergeUrl(generateAutomergeUrl());
    const senderId = `writer-${documentId}`;
    const client = peer(senderId, documentId, Automerge.init());
    const made = Array.from({ length: entries }, (_, at) => {
      const { key, bytes } = content(at);
      client.change((draft) => (draft[key] = bytes));
      const frames = client.talk();
      // The last frame brings what is new; those before it find out what that is, at the first entry alone.
      return frames.map((frame, frameAt) => [frame, frameAt + 1 < frames.length ? "" : hashOf(client.heads()[0])]);
    });
    const watch = Array.from({ length: watchers }, (_, at) => {
      const id = `watcher-${at}-${documentId}`;
      const frames = peer(id, documentId, Automerge.init()).talk(client.server());
      // The last frame confirms what came, which needs no answer.
      return [join(id), ...frames.map((frame, frameAt) => [frame, frameAt + 1 < frames.length ? "" : null])];
    });
    // The exchange by which the document is made belongs to the greeting.
    const [first = [], ...rest] = made;
    return { path: "/", hello: [join(senderId), ...first], entries: rest.flat(), watch };
  },
});
