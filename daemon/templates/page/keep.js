// Keeps what is typed into a round on this phone until it is stored: while one types, and where sending fails. Without
// it the form is sent as any other.
"use strict";

const AGAIN_MS = 20000;
// What is no typing: it belongs to the page and not to the reader.
const OF_THE_PAGE = ["proof", "form"];
// One at a time, so that no answer is taken for another's.
let isSending = false;

function begin() {
  const form = document.querySelector("form[data-keep]");
  if (form === null) return;
  const draft = `typed ${form.dataset.keep}`;
  const waiting = `waiting ${form.dataset.keep}`;
  const fields = () => [...new FormData(form)].filter(([field]) => !OF_THE_PAGE.includes(field));
  const keep = () => localStorage.setItem(draft, JSON.stringify(fields()));

  const say = (words) => {
    const place = form.querySelector(".kept");
    place.textContent = words;
    place.hidden = words === "";
  };

  // A field of a trap that the page does not show: it is shown at the end, and sent with the rest.
  const addLeftOver = (field, value) => {
    if (!field.includes(":") || field.startsWith("sure:") || value === "") return;
    const [label, place] = [document.createElement("label"), document.createElement("input")];
    [place.name, place.value] = [field, value];
    label.append(`${field.replaceAll(":", " ")} `, place);
    form.querySelector(".left-over").append(label);
    form.querySelector(".left-over").hidden = false;
  };

  const restore = () => {
    const today = form.elements.day.value;
    for (const [field, value] of JSON.parse(localStorage.getItem(draft) ?? "[]")) {
      const place = form.elements.namedItem(field);
      if (place === null) addLeftOver(field, value);
      else if (place.type === "checkbox") place.checked = true;
      else if (place.value === "" || field === "day") place.value = value;
    }
    const again = form.querySelector(".again");
    again.querySelector("b").textContent = form.elements.day.value;
    again.hidden = form.elements.day.value === today;
    again.querySelector("button").addEventListener("click", () => {
      localStorage.removeItem(draft);
      location.reload();
    });
  };

  const send = async () => {
    const body = localStorage.getItem(waiting);
    if (body === null || isSending) return;
    isSending = true;
    try {
      const answer = await fetch(form.action, {
        method: "POST",
        // What waited may be of an earlier sign-in; this page's proof is the newest.
        headers: { "Content-Type": "application/x-www-form-urlencoded", "X-Proof": form.elements.proof.value },
        body,
      });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const isRound = page.querySelector("form[data-keep]") !== null && (answer.redirected || answer.status === 422);
      if (!isRound) {
        say(`Not stored (${answer.status}). What you typed is kept on this phone; sign in again, or open the round anew.`);
        return;
      }
      // What was sent meanwhile goes next.
      if (localStorage.getItem(waiting) === body) {
        localStorage.removeItem(waiting);
        localStorage.removeItem(draft);
      }
      if (answer.redirected) history.replaceState(null, "", answer.url);
      document.querySelector("main").replaceWith(page.querySelector("main"));
      window.scrollTo(0, 0);
      queueMicrotask(begin);
    } catch {
      say("Not sent: no connection. What you typed is kept on this phone and is sent once there is one.");
    } finally {
      isSending = false;
    }
  };

  form.addEventListener("input", keep);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    keep();
    localStorage.setItem(waiting, new URLSearchParams(new FormData(form)).toString());
    send();
  });
  window.addEventListener("online", () => form.isConnected && send());
  setInterval(() => form.isConnected && send(), AGAIN_MS);
  restore();
  // What the answer says is wrong was typed, too.
  if (form.querySelector(".wrong") !== null) keep();
  send();
}

begin();
