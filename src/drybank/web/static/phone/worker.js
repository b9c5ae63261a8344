// Opens the phone page without signal. It keeps the shell and nothing else: the words, the look, the code, the icons.
// The round and the queue are in IndexedDB, under the person's name; what the server answers is never kept here.
//
// MARK and FILES are put before this text by the server. A version is taken whole: every file must be what its hash says,
// or the version is not installed and the old one stays.
/* global MARK, FILES */
"use strict";
const NAME = `drybank-phone-${MARK}`;

const hex = (buffer) => [...new Uint8Array(buffer)].map((b) => b.toString(16).padStart(2, "0")).join("");

async function take([path, hash], cache) {
  const answer = await fetch(path, { cache: "reload", credentials: "omit", redirect: "error" });
  if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
  const bytes = await answer.clone().arrayBuffer();
  if (hex(await crypto.subtle.digest("SHA-256", bytes)) !== hash) throw new Error(`${path} is of another version`);
  await cache.put(path, answer);
}

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(NAME);
    try {
      await Promise.all(FILES.map((file) => take(file, cache)));
    } catch (fault) {
      await caches.delete(NAME);
      throw fault;
    }
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("drybank-phone-") && name !== NAME) await caches.delete(name);
    await self.clients.claim();
  })());
});

self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const where = new URL(request.url);
  if (request.method !== "GET" || where.origin !== self.location.origin) return;
  const isShell = request.mode === "navigate" && where.pathname === "/phone/";
  const path = isShell ? "/phone/" : where.pathname + where.search;
  if (!isShell && !FILES.some(([file]) => file === path)) return;
  event.respondWith((async () => (await (await caches.open(NAME)).match(path)) || fetch(request))());
});
