"use strict";
// The drawing of the day, read at a touch, a drag or by the arrow keys; and a button that prints.
(() => {
  const print = document.getElementById("print");
  if (print) {
    print.hidden = false;
    print.onclick = () => window.print();
  }

  const day = document.querySelector("[data-reads]");
  if (!day) return;
  const reads = day.dataset.reads.split("\n").map(line => line.split("\t"));
  const strips = day.querySelector(".strips");
  const at = day.querySelector("input");
  const read = day.querySelector(".read");
  const [line, time, values] = ["i", "b", "span"].map(name => document.createElement(name));
  line.className = "cursor";
  strips.append(line);
  read.append(time, " ", values);

  const show = () => {
    const [when, what] = reads[at.value];
    time.textContent = when;
    values.textContent = what;
    at.setAttribute("aria-valuetext", `${when} ${what}`);
    line.style.left = `${(at.valueAsNumber + .5) / reads.length * 100}%`;
  };
  const touch = event => {
    if (event.type === "pointermove" && !event.buttons) return;
    const { left, width } = strips.getBoundingClientRect();
    at.value = Math.floor((event.clientX - left) / width * reads.length);
    show();
  };

  at.max = reads.length - 1;
  at.value = reads.length >> 1;
  at.parentElement.hidden = read.hidden = false;
  at.oninput = show;
  strips.onpointerdown = strips.onpointermove = touch;
  show();
})();
