// A step of the worksheet on a phone: one question a screen, wraps told off by a button or the phone's volume keys.
// Works without: then the step is one form, as on a desk screen.

const NARROW = matchMedia("(max-width: 55.99rem)");
const WRITTEN = "input:not([type=hidden], [type=checkbox], [type=radio], [type=file])";
const MORE = new Set(["+", "AudioVolumeUp"]), LESS = new Set(["-", "AudioVolumeDown"]);

const isAnswered = (question) => Boolean(question.querySelector(":checked"))
  || [...question.querySelectorAll(WRITTEN)].some((field) => field.value !== "");

function answer(question) {
  const chosen = question.querySelector(":checked");
  return chosen ? chosen.closest("label").textContent.trim() : question.querySelector(WRITTEN).value;
}

function say(form, words) {
  form.querySelector("[data-said]").textContent = words;
}

function oneByOne(form) {
  const questions = [...form.querySelectorAll("[data-question]")], last = questions.length - 1;
  if (last < 1) return;
  const button = form.querySelector("[type=submit]");
  const answered = form.querySelector("[data-answered]");
  const refused = questions.findIndex((each) => each.querySelector("[aria-invalid=true]"));
  const open = questions.findIndex((each) => !isAnswered(each)); // where a draft was left
  let now = refused >= 0 ? refused : open >= 0 ? open : last;

  function show(to, isMoved = true) {
    now = to;
    questions.forEach((each, i) => each.classList.toggle("now", i === now));
    form.classList.toggle("more", now < last);
    answered.replaceChildren(...questions.slice(0, now).filter(isAnswered).map((each) => {
      const back = document.createElement("button");
      [back.type, back.className] = ["button", "plain"];
      back.textContent = `${each.dataset.question}: ${answer(each)}`;
      back.addEventListener("click", () => show(questions.indexOf(each)));
      return back;
    }));
    if (!isMoved) return;
    say(form, "");
    const [first] = questions[now].querySelectorAll(`${WRITTEN}, [type=radio]`);
    first.focus({ preventScroll: true });
    questions[now].scrollIntoView({ block: "nearest" });
  }

  form.addEventListener("submit", (event) => {
    if (!NARROW.matches || now === last) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (isAnswered(questions[now])) show(now + 1);
    else say(form, "Answer this first.");
  }, true);
  let isThumb = false; // whoever chooses by keys goes on by keys
  form.addEventListener("pointerdown", () => { isThumb = true; });
  form.addEventListener("keydown", () => { isThumb = false; });
  form.addEventListener("change", (event) => {
    if (NARROW.matches && isThumb && event.target.type === "radio" && now < last) show(now + 1);
  });
  document.querySelector("[role=alert]")?.addEventListener("click", (event) => {
    const place = event.target.closest("a")?.hash;
    const to = place ? questions.findIndex((each) => each.querySelector(place)) : -1;
    if (to >= 0) show(to);
  });
  const [following, sending] = ["Next", button.textContent].map((words) => Object.assign(document.createElement("span"), { textContent: words }));
  [following.className, sending.className] = ["following", "sending"];
  button.replaceChildren(following, sending); // the style sheet shows one, by the width of the screen
  form.classList.add("one");
  show(now, false);
}

function tally(block) {
  const form = block.closest("form"), field = document.getElementById(block.dataset.tally);
  const [told, kept, use] = ["[data-number]", "[name=tally]", "[data-use]"].map((each) => block.querySelector(each));
  const number = () => Number.parseInt(kept.value, 10) || 0;
  const show = () => { told.textContent = number(); use.textContent = `Use ${number()} as the count`; };
  const step = (by) => {
    kept.value = Math.max(0, number() + by);
    kept.dispatchEvent(new Event("input", { bubbles: true }));
    navigator.vibrate?.(20);
    show();
    say(form, `${number()} counted`);
  };
  block.querySelector("[data-add]").addEventListener("click", () => step(1));
  block.querySelector("[data-undo]").addEventListener("click", () => step(-1));
  use.addEventListener("click", () => {
    field.value = number();
    field.dispatchEvent(new Event("input", { bubbles: true }));
    say(form, `${number()} stands in the field`);
  });
  document.addEventListener("keydown", (event) => {
    if (!block.isConnected || !(MORE.has(event.key) || LESS.has(event.key))) return;
    event.preventDefault();
    step(MORE.has(event.key) ? 1 : -1);
  });
  show();
  block.hidden = false;
}

function start(place) {
  place.querySelectorAll("form.step").forEach(oneByOne);
  place.querySelectorAll("[data-tally]").forEach(tally);
}

document.addEventListener("renewed", (event) => start(event.detail));
start(document);
