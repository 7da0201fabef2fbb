"use strict";
// Keeps Now alive: parts of the page come over a stream and replace what stands there.
(() => {
  const byId = id => document.getElementById(id);
  let stream;
  let heardAt = performance.now();
  let spoken;
  let alarmKeys;
  let audio;
  let pressed = false;
  // What came while it could not be shown, and what is shown, by element id.
  const waiting = {};
  const shown = {};

  // For a screen reader: said when it changes, not when the page opens.
  const speak = (box, text) => {
    if (spoken && spoken != text) box.textContent = text;
    spoken = text;
  };

  const replace = (id, html) => {
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
    if (pressed || typing || box.querySelector("details[open]")) {
      waiting[id] = html;
      return;
    }
    delete waiting[id];
    shown[id] = html;
    const places = () => [...box.querySelectorAll("button,summary,a")];
    const place = inside ? places().indexOf(focused) : -1;
    box.innerHTML = html;
    if (place >= 0 && places()[place]) places()[place].focus();
  };

  const showAge = () => {
    const age_s = Math.round((performance.now() - heardAt) / 1000);
    const age = age_s < 90 ? age_s - age_s % 5 + " s" : Math.round(age_s / 60) + " min";
    const box = byId("stale");
    box.hidden = age_s < 12;
    if (age_s >= 12) box.textContent = "These figures are " + age + " old: no contact with the board. They update by themselves when it is back in reach.";
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

  // The newest alarm stands in the title; a new one is heard and felt.
  const ring = () => {
    const alarms = [...document.querySelectorAll("#alarms [data-key]")];
    const keys = alarms.map(alarm => alarm.dataset.key);
    const first = alarms.length ? alarms[0].querySelector("h2").textContent + " · " : "";
    document.title = first + document.title.replace(/^.* · (?=.* · )/, "");
    if (alarmKeys && keys.some(key => !alarmKeys.includes(key))) {
      if (navigator.vibrate) navigator.vibrate([300, 150, 300, 150, 600]);
      if (audio && audio.state == "running") [0, .3, .6].forEach(beep);
    }
    alarmKeys = keys;
  };
  ring();

  const hear = event => {
    heardAt = performance.now();
    const parts = { ...waiting, ...JSON.parse(event.data) };
    for (const id in parts) replace(id, parts[id]);
    if (document.querySelector("#answer b")) {
      const answer = byId("answer").querySelector("h1").textContent.trim();
      document.title = document.title.replace(/^.* · /, answer + " · ");
    }
    ring();
    showAge();
  };

  const open = () => {
    if (stream) stream.close();
    stream = new EventSource("/live");
    stream.onmessage = hear;
    // The browser tries again by itself, except after a refusal.
    stream.onerror = () => {
      if (stream.readyState == EventSource.CLOSED) setTimeout(() => document.hidden || open(), 10e3);
    };
  };

  if (window.EventSource) {
    open();
    setInterval(showAge, 5e3);
    // Nobody looks: the board need not send.
    document.addEventListener("visibilitychange", () => {
      if (document.hidden) {
        stream.close();
      } else {
        heardAt = performance.now();
        open();
      }
    });
  } else {
    setTimeout(() => location.reload(), 30e3);
  }
})();
