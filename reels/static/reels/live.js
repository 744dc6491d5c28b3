// An open page hears what others record for its reel. It asks a small resource, by its ETag, whether there is anything
// new; if so, the parts of the page that it concerns are put in place of the old ones, and what stops the work is said.
// What is being typed stays as it is. A page that nobody sees does not ask. Works without: then one looks again.

const COUNT_MS = 1500; // where two people wait for each other
const OTHER_MS = 6000;
const LONGEST_MS = 60000; // while the service cannot be reached
const TYPED = "form[data-typed]";

const main = () => document.querySelector("main");
let stamp = main().dataset.stamp, failed = 0, waiting;

function line(tag, name) {
  const place = document.createElement(tag);
  place.className = name;
  place.setAttribute("role", "status");
  document.body.append(place);
  return place;
}

const spoken = line("p", "unseen"), news = line("aside", "news off-paper");

// What a person has to know now, in sight wherever the page is scrolled to, until they put it away.
function tell(words, address = "") {
  if ([...news.querySelectorAll("p")].some((each) => each.firstChild.textContent === words)) return;
  const said = document.createElement("p");
  said.append(words);
  if (address) {
    const link = document.createElement("a");
    [link.href, link.textContent, link.className] = [address, "Go on there", "reach"];
    said.append(" ", link);
  }
  if (!news.querySelector("button")) {
    const away = document.createElement("button");
    [away.type, away.textContent] = ["button", "I have read it"];
    away.addEventListener("click", () => news.replaceChildren());
    news.append(away);
  }
  news.lastChild.before(said);
}

const asked = (place) => [...place.querySelectorAll("form")].map((form) =>
  form.dataset.draft ?? [...new Set([...form.elements].map((field) => field.name))].join(" ")).join("\n");

function swapParts(fresh) {
  for (const part of fresh.querySelectorAll("[data-part]")) {
    const old = document.getElementById(part.id);
    if (!old || old.innerHTML === part.innerHTML) continue;
    if (old.contains(document.activeElement)) main().focus({ preventScroll: true });
    old.replaceWith(part);
    if (part.dataset.part === "spoken") spoken.textContent = part.textContent.trim();
  }
}

function swapMain(fresh) {
  const had = main().contains(document.activeElement);
  main().replaceWith(fresh);
  if (had) fresh.focus({ preventScroll: true });
  document.dispatchEvent(new CustomEvent("renewed", { detail: fresh }));
  spoken.textContent = [...fresh.querySelectorAll("h1, [role=alert], #waits")]
    .map((each) => each.textContent.trim()).join(". ");
}

function renew(html) {
  const page = new DOMParser().parseFromString(html, "text/html"), fresh = page.querySelector("main");
  document.title = page.title;
  const wasAsked = asked(main());
  if (main().dataset.live && fresh.dataset.whole !== undefined && (wasAsked === "" || wasAsked !== asked(fresh))) {
    if (main().querySelector(TYPED)) return tell("This step is over: the count has gone on. What you typed is kept.", location.href);
    swapMain(fresh);
  } else {
    swapParts(fresh);
  }
  stamp = fresh.dataset.stamp ?? stamp;
}

async function hear(told) {
  told.says.forEach((words) => tell(words));
  const answer = await fetch(location.href, { cache: "no-store" });
  if (answer.redirected) {
    if (!main().querySelector(TYPED)) return location.assign(answer.url);
    tell("This step is over: the count has gone on. What you typed is kept.", answer.url);
  } else if (answer.ok) {
    return renew(await answer.text());
  } else if (answer.status >= 500 || answer.status === 429) {
    throw new Error(answer.status); // asked again
  }
  stamp = told.stamp;
}

async function ask() {
  const place = main();
  if (document.hidden || !place.dataset.live || place.querySelector("form[data-sending=yes]")) return again();
  try {
    const answer = await fetch(place.dataset.live, { headers: { "If-None-Match": `"${stamp}"` }, cache: "no-store", redirect: "manual" });
    if (answer.type === "opaqueredirect") { // the login ran out
      if (!place.querySelector(TYPED)) location.reload();
      return;
    }
    if (answer.status === 200) await hear(await answer.json());
    else if (answer.status !== 304) throw new Error(answer.status);
    failed = 0;
  } catch {
    failed += 1;
  }
  place.dataset.failed = failed;
  again();
}

function again() {
  const every = main().dataset.whole === undefined ? OTHER_MS : COUNT_MS;
  clearTimeout(waiting);
  if (!document.hidden) waiting = setTimeout(ask, Math.min(every * 2 ** failed, LONGEST_MS));
}

if (main().dataset.live) {
  document.addEventListener("input", (event) => event.target.form?.setAttribute("data-typed", ""));
  document.addEventListener("visibilitychange", () => { if (!document.hidden) ask(); });
  again();
}
