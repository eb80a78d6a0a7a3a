// The texts of a job's plan, kept on the phone so that they can be read with the server gone: they
// tell nothing of how far the job is, so an old copy can't be taken for the present state.

const CACHE = "plans"; // sw.js leaves it alone
const KEPT_MAX = 8;

const path = (job) => `/api/jobs/${encodeURIComponent(job)}/plan`;

// Fetch the plan and keep it. Null where there is no link, or nothing to keep it in.
export async function keepPlan(job, key) {
  let response;
  try {
    response = await fetch(path(job), { headers: { "X-Device-Key": key } });
  } catch {
    return null;
  }
  if (!response.ok) return null;
  const text = await response.text();
  try {
    const cache = await caches.open(CACHE);
    const headers = { "Content-Type": "application/json", "X-Kept-At": new Date().toISOString() };
    await cache.delete(path(job)); // so that the newest comes last
    await cache.put(path(job), new Response(text, { headers }));
    const all = await cache.keys();
    for (const old of all.slice(0, Math.max(0, all.length - KEPT_MAX))) await cache.delete(old);
  } catch {
    // no secure page, or the phone is full: it can be read while there is a link
  }
  return JSON.parse(text);
}

// {plan, keptAt}: keptAt is null for one that came just now, else when the phone kept it. Null if
// there is none at all.
export async function readPlan(job, key) {
  const fresh = await keepPlan(job, key);
  if (fresh) return { plan: fresh, keptAt: null };
  const kept = await globalThis.caches?.match(path(job), { cacheName: CACHE });
  return kept ? { plan: await kept.json(), keptAt: new Date(kept.headers.get("X-Kept-At")) } : null;
}

// The jobs that can be read with the server gone, the newest last.
export async function keptJobs() {
  const cache = await globalThis.caches?.open(CACHE);
  return (await cache?.keys() ?? []).map((request) => decodeURIComponent(new URL(request.url).pathname.split("/")[3]));
}
