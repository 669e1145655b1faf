// Keeps the phone's page at hand when the network is dead: the newest copy when there is a network,
// the kept one when there is none. Nothing that is sent goes through here; the queue is the page's.

const KEPT = "joblog-phone-10";
const SHELL = ["/static/shop.css", "/static/phone.js", "/static/phone-jobs.js", "/static/dom.js", "/static/queue.js", "/static/kept.js", "/static/taken.js", "/static/tones.js",
  "/static/voice.js", "/static/question.js", "/static/settle.js", "/static/clips.js", "/static/microphone.js", "/static/mic-worklet.js", "/static/who.js", "/static/mark.svg", "/static/phone.webmanifest"];

addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(SHELL)).then(() => skipWaiting()));
});
addEventListener("activate", (event) => {
  const old = (names) => Promise.all(names.filter((name) => name !== KEPT).map((name) => caches.delete(name)));
  event.waitUntil(caches.keys().then(old).then(() => clients.claim()));
});
// A page that was opened before this worker was there asks to be kept, too.
addEventListener("message", (event) => event.waitUntil(newest(new Request(event.source.url))));
addEventListener("fetch", (event) => {
  const { request } = event;
  const path = new URL(request.url).pathname;
  if (request.method !== "GET" || !(path.startsWith("/phone") || path.startsWith("/static/"))) return;
  event.respondWith(newest(request));
});

async function newest(request) {
  const kept = await caches.open(KEPT);
  try {
    const answer = await fetch(request);
    if (answer.ok) await kept.put(request, answer.clone());
    return answer;
  } catch {
    return (await kept.match(request)) ?? new Response("The shop PC does not answer.", { status: 503 });
  }
}
