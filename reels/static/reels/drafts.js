// What is typed on the pages of a count is not lost: it is kept in this browser, for one login, and on the server; a
// step is sent again when the connection is back, under the same number, so that it is stored once. A thumb is led from
// field to field. Works without.

const LOGIN = document.body.dataset.login;
const MINE = `wrapledger draft ${LOGIN} `;
const WRITTEN = ":is(input, textarea):not([type=hidden], [type=checkbox], [type=radio], [type=file])";
const TO_BE_READ_FIRST = "[role=alert], #again, #differs";
const AGAIN_MS = 4000;
const KEPT_MS = 800;
const NOT_TYPED = new Set(["csrfmiddlewaretoken", "token", "seen", "by", "step", "reading", "points", "act", "password"]);
const BUSY = new Set([429, 502, 503, 504]);
const NO_CONNECTION = "No connection. What you keyed is kept on this phone, and is sent as soon as the connection is back.";
const IS_BUSY = "The service is busy and has stored nothing. What you keyed is kept, and is sent again in a moment.";
const WENT_WRONG = "Something went wrong at the service, and nothing was stored. What you keyed is kept; send it again.";

function forget(isForgotten) {
  for (const key of Object.keys(localStorage)) {
    if (key.startsWith("wrapledger draft ") && isForgotten(key)) localStorage.removeItem(key);
  }
}

const written = (form) => [...new FormData(form)].filter(([, value]) => typeof value === "string");
const typed = (form) => Object.fromEntries(written(form).filter(([name]) => !NOT_TYPED.has(name)));

function fill(form, values) {
  for (const field of form.elements) {
    if (!(field.name in values)) continue;
    if (field.type === "radio" || field.type === "checkbox") field.checked = field.value === values[field.name];
    else if (field.value === "" || field.type === "datetime-local") field.value = values[field.name];
  }
}

function say(form, words) {
  const place = form.querySelector("[data-said]");
  if (place) place.textContent = words;
}

const post = (address, body) => fetch(address, { method: "POST", body, redirect: "follow" });

function postTyped(address, form) {  // without photos, which are sent once, with the step
  const body = new FormData();
  for (const [name, value] of written(form)) body.append(name, value);
  return post(address, body);
}

async function redraw(form) {
  const place = document.querySelector("[data-drawn]");
  if (!place || !form.dataset.drawing) return;
  try {
    const answer = await postTyped(form.dataset.drawing, form);
    if (answer.status !== 200 || answer.redirected) return;
    const drawn = new DOMParser().parseFromString(await answer.text(), "text/html");
    place.replaceChildren(...drawn.body.children);
  } catch { /* no connection: the drawing stays as it was */ }
}

async function keepOnServer(form) {
  if (!form.dataset.keep) return;
  try {
    await postTyped(form.dataset.keep, form);
  } catch { /* it is kept in the browser */ }
}

function showRefusal(html) {
  const chosen = [...document.querySelectorAll("input[type=file]")].filter((field) => field.files.length);
  const page = new DOMParser().parseFromString(html, "text/html");
  document.title = page.title;
  const fresh = page.querySelector("main");
  document.querySelector("main").replaceWith(fresh);
  for (const field of chosen) {
    const again = document.getElementById(field.id);
    if (again && !again.closest("[data-refused]")) again.files = field.files;
  }
  document.dispatchEvent(new CustomEvent("renewed", { detail: fresh }));
  document.querySelector("[role=alert]")?.focus();
}

async function send(form, key, body) {
  const again = (words) => {
    say(form, words);
    setTimeout(() => form.isConnected && send(form, key, body), AGAIN_MS);
  };
  form.dataset.sending = "yes";
  try {
    const answer = await post(form.action, body);
    if (BUSY.has(answer.status)) {
      again(IS_BUSY);
    } else if (answer.redirected) {
      if (!new URL(answer.url).pathname.startsWith("/login")) localStorage.removeItem(key);
      location.assign(answer.url);
    } else if (answer.status >= 500 || answer.status === 413) {
      form.dataset.sending = "";
      say(form, WENT_WRONG);
    } else {
      showRefusal(await answer.text());
    }
  } catch {
    again(NO_CONNECTION);
  }
}

function keepDraft(form) {
  const key = MINE + form.dataset.draft;
  const kept = localStorage.getItem(key);
  if (kept) {
    fill(form, JSON.parse(kept));
    form.dataset.typed = "";
  }
  let waiting;
  form.addEventListener("input", () => {
    localStorage.setItem(key, JSON.stringify(typed(form)));
    clearTimeout(waiting);
    waiting = setTimeout(() => { redraw(form); keepOnServer(form); }, KEPT_MS);
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (form.dataset.sending !== "yes") send(form, key, new FormData(form));
  });
  if (kept) redraw(form);
}

// A drawing beside a form that follows what is typed; without this script it is drawn when the form is checked.
function follow(form) {
  let waiting;
  form.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => redraw(form), KEPT_MS / 2);
  });
}

// The next field that waits to be written, of those that are in sight and not said to be left out.
function nextToWrite(form, after) {
  return [...form.querySelectorAll(WRITTEN)].find((field) => field.value === "" && field.offsetParent
    && !form.elements[`${field.name}_left_out`]?.checked
    && after.compareDocumentPosition(field) & Node.DOCUMENT_POSITION_FOLLOWING);
}

function leadOn(form) {
  form.addEventListener("keydown", (event) => {
    const next = event.key === "Enter" && event.target.matches(`input${WRITTEN}`) && nextToWrite(form, event.target);
    if (!next) return;  // the last one sends, as everywhere
    event.preventDefault();
    next.focus();
  });
  form.addEventListener("click", (event) => {  // by a thumb: whoever chooses by keys goes on by keys
    const choice = event.detail > 0 && event.target.closest("label")?.control;
    if (choice?.type === "radio") nextToWrite(form, choice)?.focus();
  });
  if (document.querySelector(TO_BE_READ_FIRST)) return;
  const [first] = [...form.elements].filter((field) => field.offsetParent);
  if (first?.matches(WRITTEN)) first.focus({ preventScroll: true });
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

function start(place = document) {
  place.querySelectorAll("form[data-draft]").forEach(keepDraft);
  place.querySelectorAll("form[data-drawing]:not([data-draft])").forEach(follow);
  place.querySelectorAll("form.keys").forEach(leadOn);
  place.querySelectorAll("[data-poll]").forEach(poll);
}

if (LOGIN) {
  forget((key) => !key.startsWith(MINE));
  document.querySelector("form.who")?.addEventListener("submit", () => forget(() => true));
  start();
  document.addEventListener("renewed", (event) => start(event.detail));
}
