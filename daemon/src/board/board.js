// Keeps a page up to date. Without it every page is still whole; it only grows old.
"use strict";
(() => {
  const body = document.body;
  const follow = body.dataset.follow;
  const clock = document.getElementById("clock");
  const SILENT_MS = 12000;

  // Names are remembered on this device alone.
  const remember = (root) => {
    for (const field of root.querySelectorAll("[data-remember]")) {
      const key = "inkdwell-" + field.dataset.remember;
      if (!field.value) field.value = read(key) || "";
      field.addEventListener("change", () => write(key, field.value));
    }
    for (const form of root.querySelectorAll("form")) {
      form.addEventListener("submit", () => {
        const button = form.querySelector("button");
        if (!button) return;
        if (form.dataset.busy) button.textContent = form.dataset.busy;
        // A second press does nothing twice.
        setTimeout(() => { button.disabled = true; }, 0);
      });
    }
  };
  const read = (key) => { try { return localStorage.getItem(key); } catch { return null; } };
  const write = (key, value) => { try { localStorage.setItem(key, value); } catch { /* not kept */ } };
  remember(document);
  // A page that comes back out of the browser's memory has its buttons again.
  addEventListener("pageshow", () => {
    for (const button of document.querySelectorAll("button[disabled]")) button.disabled = false;
  });

  if (follow !== "parts" && follow !== "whole") return;

  // Sound: off until a person switches it on, since browsers and neighbours want it so.
  const sound = document.getElementById("sound");
  let audio = null;
  const say = () => {
    const on = audio !== null;
    sound.setAttribute("aria-pressed", String(on));
    sound.textContent = on ? "Sound is on" : "Sound is off";
  };
  const beep = (at, hertz) => {
    const tone = audio.createOscillator();
    const level = audio.createGain();
    tone.frequency.value = hertz;
    level.gain.setValueAtTime(0.0001, at);
    level.gain.exponentialRampToValueAtTime(0.4, at + 0.02);
    level.gain.exponentialRampToValueAtTime(0.0001, at + 0.32);
    tone.connect(level).connect(audio.destination);
    tone.start(at);
    tone.stop(at + 0.35);
  };
  const call = () => {
    if (!audio) return;
    for (let n = 0; n < 3; n += 1) beep(audio.currentTime + n * 0.45, n === 1 ? 660 : 880);
    body.dataset.called = String(Number(body.dataset.called || 0) + 1);
  };
  if (window.AudioContext && follow === "parts") {
    sound.hidden = false;
    sound.addEventListener("click", () => {
      if (audio) { audio.close(); audio = null; } else { audio = new AudioContext(); beep(audio.currentTime, 880); }
      say();
    });
  }

  // Parts of the page, as the daemon renders them.
  const calls = new Map();
  const lookForCall = (element, isFirst) => {
    const says = element.querySelector("[data-call]");
    if (!says) return;
    const now = Number(says.dataset.call);
    const before = calls.get(element.id);
    calls.set(element.id, now);
    if (!isFirst && before !== undefined && now > before) call();
  };
  for (const state of document.querySelectorAll(".state")) lookForCall(state, true);
  const keepFocus = (element, change) => {
    const focused = element.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    change();
    if (focused) {
      for (const link of element.querySelectorAll("a")) {
        if (link.getAttribute("href") === focused) { link.focus({ preventScroll: true }); break; }
      }
    }
  };
  const fill = (part) => {
    const element = document.getElementById(part.id);
    if (element) {
      keepFocus(element, () => { element.innerHTML = part.html; });
      lookForCall(element, false);
    }
  };

  // Pages that are fetched anew, unless somebody is writing in them.
  let record = body.dataset.record;
  let wanted = false;
  const isWriting = () => {
    const main = document.getElementById("main");
    return Boolean(main.querySelector("details[open]")) || main.contains(document.activeElement)
      && /^(INPUT|SELECT|TEXTAREA)$/.test(document.activeElement.tagName)
      || [...main.querySelectorAll("input[type=text], input:not([type]), textarea")]
        .some((field) => field.value !== field.defaultValue && !field.dataset.remember)
      || Boolean(main.querySelector("input:checked:not([checked])"));
  };
  const fetchAnew = async () => {
    if (isWriting()) { wanted = true; return; }
    wanted = false;
    try {
      const answer = await fetch(location.href, { credentials: "same-origin" });
      if (!answer.ok || answer.redirected) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const main = page.getElementById("main");
      if (main && !isWriting()) {
        const own = document.getElementById("main");
        keepFocus(own, () => own.replaceChildren(...main.childNodes));
        remember(own);
      }
    } catch { wanted = true; }
  };
  setInterval(() => { if (wanted) fetchAnew(); }, 3000);

  // The stream. Browsers take it up again by themselves, with the last id.
  const lost = document.getElementById("lost");
  let heard = Date.now();
  let shown = clock.textContent;
  const isHeard = (is) => {
    if (is) { heard = Date.now(); shown = clock.textContent; }
    else document.getElementById("lost-since").textContent = shown;
    lost.hidden = is;
    body.classList.toggle("is-lost", !is);
  };
  let stream = null;
  const open = () => {
    stream = new EventSource("/live");
    stream.addEventListener("part", (event) => {
      isHeard(true);
      const part = JSON.parse(event.data);
      if (part.id === "record") {
        if (follow === "whole" && record !== part.html) fetchAnew();
        record = part.html;
      } else fill(part);
    });
    stream.addEventListener("error", () => {
      isHeard(false);
      // It gives up where it was refused: then we do not.
      if (stream.readyState === EventSource.CLOSED) setTimeout(open, 3000);
    });
  };
  open();
  // The clock changes every second: who hears nothing for long hears nothing at all, whatever the browser believes.
  setInterval(() => {
    if (Date.now() - heard > SILENT_MS && lost.hidden) { isHeard(false); stream.close(); setTimeout(open, 1000); }
  }, 2000);
})();
