// Keeps what is typed into a round on this phone until it is stored: while one types, and where sending fails. Without
// it the form is sent as any other.
"use strict";

const AGAIN_MS = 20000;
// What is no typing: it belongs to the page and not to the reader.
const OF_THE_PAGE = ["proof", "form"];

function begin() {
  const form = document.querySelector("form[data-keep]");
  if (form === null) return;
  const name = form.dataset.keep;
  const draft = `typed ${name}`;
  const waiting = `waiting ${name}`;
  const fields = () => [...new FormData(form)].filter(([field]) => !OF_THE_PAGE.includes(field));

  const say = (words) => {
    const place = form.querySelector(".kept");
    place.textContent = words;
    place.hidden = words === "";
  };

  const restore = () => {
    for (const [field, value] of JSON.parse(localStorage.getItem(draft) ?? "[]")) {
      const place = form.elements.namedItem(field);
      if (place === null || place instanceof RadioNodeList) continue;
      if (place.type === "checkbox") place.checked = true;
      else if (place.value === "" || field === "day") place.value = value;
    }
  };

  const send = async () => {
    const body = localStorage.getItem(waiting);
    if (body === null) return;
    try {
      const answer = await fetch(form.action, {
        method: "POST",
        headers: { "Content-Type": "application/x-www-form-urlencoded" },
        body,
      });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const isRound = page.querySelector("form[data-keep]") !== null && (answer.redirected || answer.status === 422);
      if (!isRound) {
        say(`Not stored (${answer.status}). What you typed is kept on this phone; sign in again, or open the round anew.`);
        return;
      }
      localStorage.removeItem(waiting);
      localStorage.removeItem(draft);
      if (answer.redirected) history.replaceState(null, "", answer.url);
      document.querySelector("main").replaceWith(page.querySelector("main"));
      window.scrollTo(0, 0);
      begin();
    } catch {
      say("Not sent: no connection. What you typed is kept on this phone and is sent once there is one.");
    }
  };

  form.addEventListener("input", () => localStorage.setItem(draft, JSON.stringify(fields())));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    localStorage.setItem(draft, JSON.stringify(fields()));
    localStorage.setItem(waiting, new URLSearchParams(new FormData(form)).toString());
    send();
  });
  window.addEventListener("online", () => form.isConnected && send());
  setInterval(() => form.isConnected && send(), AGAIN_MS);
  restore();
  send();
}

begin();
