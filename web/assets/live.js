"use strict";
// Keeps Now alive: parts of the page come over a stream and replace what stands there, taps are sent
// without leaving the page, and how old the figures are is never hidden.
(() => {
  const byId = id => document.getElementById(id);
  const now = byId("now");
  const said = byId("said");
  const [notHeard, ago, at, notSent, looking, nothingSent] = JSON.parse(now.dataset.words);
  // Two clocks: one may stand still while the phone sleeps, the other may be set.
  const moment = () => ({ day: Date.now(), page: performance.now() });
  const since_s = then => Math.max(Date.now() - then.day, performance.now() - then.page) / 1000;
  let stream;
  // The board's time of what is shown, boot seconds, and when this phone had it.
  let boot_s = +now.dataset.at;
  let heard = moment();
  let title = document.title;
  let closed = false;
  let notice;
  let spoken;
  let alarmKeys;
  let audio;
  let pressed = false;
  // What came while it could not be shown, and what is shown, by element id.
  const waiting = {};
  const shown = {};

  // A page that a browser shows again is as old as when it came.
  const memory = (() => { try { return sessionStorage; } catch (error) { return {}; } })();
  if (memory.boot_s >= boot_s) heard.day = memory.day - (memory.boot_s - boot_s) * 1000;
  const remember = () => {
    try {
      memory.boot_s = boot_s;
      memory.day = heard.day;
    } catch (error) {}
  };
  remember();

  // For a screen reader: said when it changes, not when the page opens.
  const speak = (box, text) => {
    if (spoken && spoken != text) box.textContent = text;
    spoken = text;
  };

  const replace = (id, html) => {
    if (id == "title") {
      title = html;
      return;
    }
    const box = byId(id);
    if (!box) return;
    if (id == "spoken") return speak(box, html);
    if (shown[id] == html) {
      delete waiting[id];
      return;
    }
    const focused = document.activeElement;
    const inside = box.contains(focused);
    const typing = inside && /^(INPUT|SELECT)$/.test(focused.tagName);
    // Nothing moves or goes away under a finger.
    if (pressed || typing) {
      waiting[id] = html;
      return;
    }
    delete waiting[id];
    shown[id] = html;
    const all = what => [...box.querySelectorAll(what)];
    const place = inside ? all("button,summary,a").indexOf(focused) : -1;
    const open = all("details").map(it => it.open);
    box.innerHTML = html;
    all("details").forEach((it, ix) => { it.open = open[ix]; });
    if (place >= 0 && all("button,summary,a")[place]) all("button,summary,a")[place].focus();
  };

  // Over the strip, which keeps its place.
  const say = text => {
    said.hidden = !text;
    if (said.textContent != text) said.textContent = text;
  };

  // The board tells only what changed: what stood there comes back with its next word.
  const keep = id => {
    waiting[id] = waiting[id] || byId(id).innerHTML;
    delete shown[id];
  };

  const showAge = () => {
    const age_s = since_s(heard);
    const old = closed || age_s > 6;
    const clock = byId("clock") ? byId("clock").textContent : "";
    const age = ago.replace("{}", age_s < 90 ? Math.floor(age_s / 5) * 5 + " s" : Math.round(age_s / 60) + " min");
    if (old && !now.classList.contains("old")) {
      keep("answer");
      const after = document.querySelector("#answer .big span");
      if (after) after.textContent = clock ? at.replace("{}", clock) : age;
      const verdict = document.querySelector("#answer .verdict");
      if (verdict) verdict.textContent = verdict.dataset.was;
    }
    now.classList.toggle("old", old);
    // Only after a while: a phone that wakes has the board again within a second.
    now.classList.toggle("gone", old && age_s > 12);
    const doing = document.querySelector("#doing h2");
    if (doing && now.classList.contains("gone") && doing.textContent != nothingSent) {
      keep("doing");
      doing.textContent = nothingSent;
    }
    byId("lost").hidden = !now.classList.contains("gone");
    const silent = notHeard.replace("{}", clock ? clock + ", " + age : age);
    say(notice || (old ? silent : ""));
    document.title = old ? silent + " · " + title.replace(/^.* · /, "") : title;
  };

  // Sound and vibration work once somebody has tapped the page; browsers allow neither before.
  addEventListener("pointerdown", () => {
    pressed = true;
    try {
      audio = audio || new AudioContext();
      audio.resume();
    } catch (error) {}
  });
  for (const end of ["pointerup", "pointercancel"])
    // A tap's click comes a little after the finger has gone.
    addEventListener(end, () => setTimeout(() => { pressed = false; }, 400));

  const beep = after_s => {
    const tone = audio.createOscillator();
    tone.frequency.value = 880;
    tone.connect(audio.destination);
    tone.start(audio.currentTime + after_s);
    tone.stop(audio.currentTime + after_s + .15);
  };

  // A new alarm is heard and felt.
  const ring = () => {
    const keys = [...document.querySelectorAll("[data-key]")].map(alarm => alarm.dataset.key);
    if (alarmKeys && keys.some(key => !alarmKeys.includes(key))) {
      if (navigator.vibrate) navigator.vibrate([300, 150, 300, 150, 600]);
      if (audio && audio.state == "running") [0, .3, .6].forEach(beep);
    }
    alarmKeys = keys;
  };
  ring();

  const hear = event => {
    const parts = JSON.parse(event.data);
    boot_s = parts.at;
    heard = moment();
    closed = false;
    remember();
    for (const [id, html] of Object.entries({ ...waiting, ...parts })) replace(id, html);
    ring();
    showAge();
  };

  const open = () => {
    if (stream) stream.close();
    stream = new EventSource("/live");
    stream.onmessage = hear;
    // The browser tries again by itself, except after a refusal.
    stream.onerror = () => {
      closed = true;
      showAge();
      if (stream.readyState == EventSource.CLOSED) setTimeout(() => document.hidden || open(), 10e3);
    };
  };

  const note = (text, stays_s) => {
    notice = text;
    clearTimeout(note.timer);
    note.timer = setTimeout(() => { notice = ""; showAge(); }, stays_s * 1000);
    showAge();
  };

  // A tap: sent without a reload. What the board has to say to it comes as a page where the form goes.
  const send = async (form, button) => {
    const fields = [...new FormData(form), ...(button && button.name ? [[button.name, button.value]] : [])];
    const giveUp = new AbortController();
    const timer = setTimeout(() => giveUp.abort(), 5e3);
    try {
      const answer = await fetch(form.action, {
        method: "POST",
        body: new URLSearchParams(fields),
        headers: { accept: "application/json" },
        signal: giveUp.signal,
      });
      if (answer.status == 403) return go(form, fields);
      const told = answer.status == 204 ? {} : await answer.json();
      if (told.detail || told.text) note(told.detail || told.text, 12);
      if (answer.ok) document.querySelectorAll("details[open]").forEach(it => { it.open = false; });
    } catch (error) {
      closed = true;
      note(notSent, 6);
    } finally {
      clearTimeout(timer);
      if (button) button.removeAttribute("aria-busy");
    }
  };

  // Not paired: the board asks for the code, and carries out the tap afterwards.
  const go = (form, fields) => {
    const copy = document.createElement("form");
    copy.method = "post";
    copy.action = form.action;
    for (const [name, value] of fields) {
      const field = document.createElement("input");
      [field.type, field.name, field.value] = ["hidden", name, value];
      copy.append(field);
    }
    now.append(copy);
    copy.submit();
  };

  if (window.EventSource && window.fetch) {
    open();
    setInterval(showAge, 2e3);
    addEventListener("submit", event => {
      // Another look is another page.
      if (event.target.matches(".dimmer")) return;
      event.preventDefault();
      const button = event.submitter;
      if (button) button.setAttribute("aria-busy", true);
      send(event.target, button);
    });
    byId("again").onclick = () => {
      note(looking, 3);
      open();
    };
    // Nobody looks: the board need not send.
    document.addEventListener("visibilitychange", () => {
      if (document.hidden) {
        stream.close();
      } else {
        showAge();
        open();
      }
    });
    // Shown again from the browser's memory.
    addEventListener("pageshow", showAge);
  } else {
    setTimeout(() => location.reload(), 30e3);
  }
})();
