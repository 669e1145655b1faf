// Photos wait in IndexedDB until the shop PC has them. Each is named by the hash of its bytes, so one
// that was sent and whose answer was lost is simply sent again: the PC keeps it once. One that it refuses
// for good stays here, with the reason, until somebody discards it.

let opened = null;
let loose = []; // what this phone's store refused (full, or switched off): kept while the page is open

function database() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open("joblog", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("photos", { keyPath: "sha256" });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  return opened;
}

async function once(mode, act) {
  const work = (await database()).transaction("photos", mode);
  return new Promise((resolve, reject) => {
    const request = act(work.objectStore("photos"));
    work.oncomplete = () => resolve(request.result);
    work.onerror = work.onabort = () => reject(work.error);
  });
}

// An iPhone loses the line to its store while the page lies in the back: it is opened anew.
const store = (mode, act) => once(mode, act).catch(() => { opened = null; return once(mode, act); });

const hex = (buffer) => [...new Uint8Array(buffer)].map((byte) => byte.toString(16).padStart(2, "0")).join("");

// crypto.subtle exists in secure contexts only; elsewhere the hash is worked out here (FIPS 180-4).
export async function sha256(bytes) {
  return crypto.subtle ? hex(await crypto.subtle.digest("SHA-256", bytes)) : hex(plainSha256(new Uint8Array(bytes)));
}

// Returns whether the phone has it for good; else only as long as the page is open.
export async function keep(photo) {
  // What is refused as too large is never sent: it needs no hash, and lies there as the file that it is.
  const bytes = photo.why ? photo.blob : await photo.blob.arrayBuffer();
  const [rows, name] = [await all(), photo.why ? `never sent ${photo.taken}` : await sha256(bytes)];
  const order = 1 + Math.max(0, ...rows.map((other) => other.order)); // a phone's clock may jump
  const { taken } = rows.find((other) => other.sha256 === name) ?? photo; // chosen anew, it is no younger
  const row = { ...photo, taken, order, blob: bytes, sha256: name };
  return put(row);
}

async function put(row) {
  loose = loose.filter((other) => other.sha256 !== row.sha256);
  const kept = await store("readwrite", (photos) => photos.put(row)).then(() => true, () => false);
  if (!kept) loose.push(row);
  return kept;
}

async function all() {
  const rows = await store("readonly", (photos) => photos.getAll()).catch(() => []);
  return [...rows.filter((row) => loose.every((other) => other.sha256 !== row.sha256)), ...loose];
}

export const waiting = async () => (await all()).filter((row) => !row.why);
export const refused = async () => (await all()).filter((row) => row.why).sort((a, b) => a.order - b.order);

// A picture put in again as another kind while it was on its way has a new order: it stays to be sent.
async function unchanged({ sha256, order }) {
  return (await all()).some((other) => other.sha256 === sha256 && other.order === order);
}

export async function discard(photo) {
  if (!(await unchanged(photo))) return;
  loose = loose.filter((other) => other.sha256 !== photo.sha256);
  await store("readwrite", (photos) => photos.delete(photo.sha256)).catch(() => {});
}

const refuse = async (photo, why) => { if (await unchanged(photo)) await put({ ...photo, why }); };
export const markSaved = async (photo) => { if (await unchanged(photo)) await put({ ...photo, saved: true }); };

let sending = null;

// Sends what waits, oldest first; resolves to the answers. Stops at the first that finds no network.
export function send(onAnswer) {
  sending ??= sendAll(onAnswer).finally(() => { sending = null; });
  return sending;
}

async function sendAll(onAnswer) {
  for (;;) {
    const [photo] = (await waiting()).sort((a, b) => a.order - b.order);
    if (!photo) return;
    const age = Math.max(0, (Date.now() - Date.parse(photo.taken)) / 1000) || 0; // what was done since decides its step
    const query = new URLSearchParams({ kind: photo.kind, by: photo.by, taken: photo.taken, age });
    let answer;
    try {
      answer = await fetch(`/api/jobs/${photo.job}/photos/${photo.sha256}?${query}`, { method: "PUT", body: photo.blob });
    } catch {
      return; // no network: everything stays
    }
    if (answer.status === 403) { onAnswer({ error: await answer.text() }); return; }
    const data = await answer.json().catch(() => ({}));
    if (answer.ok) { await discard(photo); onAnswer(data); }
    // Refused for good (no picture, too large, a closed job): told, kept, and not sent for ever.
    else if ([400, 413, 422].includes(answer.status)) {
      await refuse(photo, data.error || "The shop PC refused this photo.");
      onAnswer(data);
    }
    // The shop PC has trouble of its own (its disk is full, its database is away): nothing is lost.
    else { onAnswer({ error: `The shop PC could not take the photo just now; it stays here and is sent again. ${data.error ?? ""}`.trim() }); return; }
  }
}

function plainSha256(message) {
  const rotate = (x, n) => (x >>> n) | (x << (32 - n));
  const primes = [];
  for (let n = 2; primes.length < 64; n++) if (primes.every((p) => n % p)) primes.push(n);
  const fraction = (x) => Math.floor((x - Math.floor(x)) * 2 ** 32);
  const k = primes.map((p) => fraction(Math.cbrt(p)));
  const h = primes.slice(0, 8).map((p) => fraction(Math.sqrt(p)));
  const size = ((message.length + 8) >> 6) * 64 + 64;
  const padded = new Uint8Array(size);
  padded.set(message);
  padded[message.length] = 0x80;
  const view = new DataView(padded.buffer);
  view.setUint32(size - 8, Math.floor(message.length / 2 ** 29));
  view.setUint32(size - 4, (message.length * 8) >>> 0);
  const w = new Int32Array(64);
  for (let block = 0; block < size; block += 64) {
    for (let i = 0; i < 16; i++) w[i] = view.getInt32(block + 4 * i);
    for (let i = 16; i < 64; i++) {
      const s0 = rotate(w[i - 15], 7) ^ rotate(w[i - 15], 18) ^ (w[i - 15] >>> 3);
      const s1 = rotate(w[i - 2], 17) ^ rotate(w[i - 2], 19) ^ (w[i - 2] >>> 10);
      w[i] = (w[i - 16] + s0 + w[i - 7] + s1) | 0;
    }
    let [a, b, c, d, e, f, g, z] = h;
    for (let i = 0; i < 64; i++) {
      const t1 = (z + (rotate(e, 6) ^ rotate(e, 11) ^ rotate(e, 25)) + ((e & f) ^ (~e & g)) + k[i] + w[i]) | 0;
      const t2 = ((rotate(a, 2) ^ rotate(a, 13) ^ rotate(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      [z, g, f, e, d, c, b, a] = [g, f, e, (d + t1) | 0, c, b, a, (t1 + t2) | 0];
    }
    [a, b, c, d, e, f, g, z].forEach((value, i) => { h[i] = (h[i] + value) | 0; });
  }
  const out = new DataView(new ArrayBuffer(32));
  h.forEach((value, i) => out.setInt32(4 * i, value));
  return out.buffer;
}
