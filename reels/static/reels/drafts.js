// What is typed on the pages of a count is not lost: it is kept in this browser, for one login, and on the server; a
// step is sent again when the connection is back, under the same number, so that it is stored once. Works without.

const LOGIN = document.body.dataset.login;
const MINE = `wrapledger draft ${LOGIN} `;
const AGAIN_MS = 4000;
const KEPT_MS = 800;
const NOT_TYPED = new Set(["csrfmiddlewaretoken", "token", "by", "step", "reading", "points"]);

function forget(isForgotten) {
  for (const key of Object.keys(localStorage)) {
    if (key.startsWith("wrapledger draft ") && isForgotten(key)) localStorage.removeItem(key);
  }
}

function typed(form) {
  return Object.fromEntries([...new FormData(form)].filter(([name]) => !NOT_TYPED.has(name)));
}

function fill(form, values) {
  for (const field of form.elements) {
    if (!(field.name in values)) continue;
    if (field.type === "radio" || field.type === "checkbox") field.checked = field.value === values[field.name];
    else if (field.value === "") field.value = values[field.name];
  }
}

function say(form, words) {
  const place = form.querySelector("[data-said]");
  if (place) place.textContent = words;
}

const post = (address, form) => fetch(address, { method: "POST", body: new FormData(form), redirect: "follow" });

async function redraw(form) {
  const place = document.querySelector("[data-drawn]");
  if (!place || !form.dataset.drawing) return;
  try {
    const answer = await post(form.dataset.drawing, form);
    if (answer.status !== 200 || answer.redirected) return;
    const drawn = new DOMParser().parseFromString(await answer.text(), "text/html");
    place.replaceChildren(...drawn.body.children);
  } catch { /* no connection: the drawing stays as it was */ }
}

async function keepOnServer(form) {
  if (!form.dataset.keep) return;
  try {
    await post(form.dataset.keep, form);
  } catch { /* it is kept in the browser */ }
}

function showRefusal(html) {
  const page = new DOMParser().parseFromString(html, "text/html");
  document.title = page.title;
  document.querySelector("main").replaceWith(page.querySelector("main"));
  start();
  document.querySelector("[role=alert]")?.focus();
}

async function send(form, key) {
  form.dataset.sending = "yes";
  try {
    const answer = await post(form.action, form);
    if (answer.redirected) {
      if (!new URL(answer.url).pathname.startsWith("/login")) localStorage.removeItem(key);
      location.assign(answer.url);
    } else {
      showRefusal(await answer.text());
    }
  } catch {
    say(form, "No connection. What you keyed is kept on this phone, and is sent as soon as the connection is back.");
    setTimeout(() => form.isConnected && send(form, key), AGAIN_MS);
  }
}

function keepDraft(form) {
  const key = MINE + form.dataset.draft;
  const kept = localStorage.getItem(key);
  if (kept) fill(form, JSON.parse(kept));
  let waiting;
  form.addEventListener("input", () => {
    localStorage.setItem(key, JSON.stringify(typed(form)));
    clearTimeout(waiting);
    waiting = setTimeout(() => { redraw(form); keepOnServer(form); }, KEPT_MS);
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (form.dataset.sending !== "yes") send(form, key);
  });
  if (kept) redraw(form);
}

function tally(block) {
  const field = document.getElementById(block.dataset.tally);
  const step = (by) => {
    field.value = Math.max(0, (Number.parseInt(field.value, 10) || 0) + by);
    field.dispatchEvent(new Event("input", { bubbles: true }));
    say(block.closest("form"), `${field.value} counted`);
  };
  block.querySelector("[data-add]").addEventListener("click", () => step(1));
  block.querySelector("[data-undo]").addEventListener("click", () => step(-1));
  block.hidden = false;
}

function poll(place) {
  const timer = setInterval(async () => {
    if (!place.isConnected) return clearInterval(timer);
    try {
      const answer = await fetch(place.dataset.poll);
      if (answer.redirected) return location.reload();
      const { stamp } = await answer.json();
      if (stamp !== place.dataset.stamp) location.reload();
    } catch { /* asked again */ }
  }, AGAIN_MS);
}

function start() {
  document.querySelectorAll("form[data-draft]").forEach(keepDraft);
  document.querySelectorAll("[data-tally]").forEach(tally);
  document.querySelectorAll("[data-poll]").forEach(poll);
}

if (LOGIN) {
  forget((key) => !key.startsWith(MINE));
  document.querySelector("form.who")?.addEventListener("submit", () => forget(() => true));
  start();
}
