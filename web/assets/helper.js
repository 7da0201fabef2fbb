"use strict";
// What two pages can do better with a script: take a file of the phone, and compare its clock.
(() => {
  const byId = id => document.getElementById(id);

  // A file of the phone goes into the list's field; without this script it can be pasted there.
  const file = byId("file");
  if (file) {
    byId("pick").hidden = false;
    file.onchange = () => {
      const chosen = file.files[0];
      if (!chosen) return;
      const reader = new FileReader();
      reader.onload = () => {
        byId("list").value = reader.result;
        if (!byId("name").value) byId("name").value = chosen.name.slice(0, 64);
      };
      reader.readAsText(chosen);
    };
  }

  // The phone's clock against the board's: of several round trips the shortest says it best.
  const compareOnce = async () => {
    const phone_ms = Date.now();
    const sent = performance.now();
    const board = await (await fetch("/api/v1/clock")).json();
    const half_ms = (performance.now() - sent) / 2;
    return { half_ms, boot_s: board.boot_s, phone_ms };
  };

  const compare = async told => {
    let best;
    for (let round = 0; round < 8; round++) {
      const one = await compareOnce();
      if (!best || one.half_ms < best.half_ms) best = one;
    }
    const body = JSON.stringify({
      boot_s: best.boot_s,
      phone_unix_ms: best.phone_ms + best.half_ms,
      // Browsers round their clocks: two milliseconds more are not promised away.
      within_s: best.half_ms / 1000 + .002,
    });
    const headers = { "content-type": "application/json" };
    const sent = await fetch("/api/v1/clock", { method: "POST", headers, body });
    if (!sent.ok) return;
    const station = await (await fetch("/station")).text();
    const page = new DOMParser().parseFromString(station, "text/html");
    told.innerHTML = page.getElementById("clock-told").innerHTML;
  };

  const told = byId("clock-told");
  if (told && told.dataset.paired && window.fetch) compare(told).catch(() => {});
})();
