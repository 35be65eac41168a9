"use strict";
(() => {
  const page = JSON.parse(document.getElementById("tables").textContent);
  const $ = (id) => document.getElementById(id);
  const typed = $("typed"), slid = $("slid"), told = $("told"), car = $("car"), warm = $("warm"), minutes = $("minutes");
  const last = page.steps - 1, high = page.low + last, root = document.documentElement;
  let now = Number(slid.value), from = Number(warm.value), fahrenheit = false;
  // A table's value at a place between its steps.
  const look = (values, place, ratio) => {
    const end = values.length - 1, x = Math.min(Math.max(place, 0), end), k = Math.min(Math.floor(x), end - 1), s = x - k;
    const a = values[k], b = values[k + 1];
    return ratio ? a * Math.pow(b / a, s) : a + s * (b - a);
  };
  const digits = (v) => {
    if (!(Math.abs(v) > 0)) return "0";
    const size = Math.floor(Math.log10(Math.abs(v)));
    return v.toFixed(Math.max(2 - size, 0));
  };
  const unit = () => (fahrenheit ? "°F" : "°C");
  const shown = (t) => Math.round((fahrenheit ? 1.8 * t + 32 : t) * 10) / 10;
  const degrees = (t) => String(shown(t)).replace("-", "\u2212");
  const share = (p) => (p > 0 && p < 0.01 ? "below 1 %" : p > 0.99 && p < 1 ? "above 99 %" : Math.round(100 * p) + " %");
  // Judged up and down only, no part is better than the second word.
  const word = (p, i) => Math.max(page.verdicts.findIndex((v) => p >= v[0]), page.parts[i].d ? 0 : 1);
  const band = (node, three, x) => {
    const [m, l, h] = three.map((values) => digits(look(values, x, true)));
    node.querySelector("b").textContent = m;
    node.querySelector("span").textContent = l + " to " + h;
  };
  const show = () => {
    let best = -1, most = -1;
    const found = page.parts.map((part, i) => {
      const card = $("part" + i), t = car.open && part.w ? now + (from - now) * look(part.w, minutes.value / 5, false) : now;
      const x = t - page.low, p = look(part.p, x, false), v = word(p, i);
      card.querySelector(".verdict").className = "verdict v" + v;
      card.querySelector(".sign b").textContent = page.verdicts[v][2];
      card.querySelector(".word").textContent = page.verdicts[v][1] + ", " + share(p);
      for (const key of "fkzc") band(card.querySelector("." + key), part[key], x);
      if (part.r) card.querySelector(".r").textContent = part.r.map((values) => digits(look(values, x, true))).join(", ") + " Hz";
      card.querySelector(".lag").hidden = Math.abs(t - now) < 0.5;
      card.querySelector(".lag b").textContent = degrees(t) + " " + unit();
      card.querySelector(".beyond").hidden = !part.x[Math.min(Math.max(Math.round(x), 0), last)];
      if (p > most + 1e-9) { most = p; best = i; }
      return v;
    });
    const aside = found.map((v, i) => v > 2 && i !== best);
    aside.forEach((out, i) => {
      if (out !== ($("part" + i).parentNode.id === "out")) aside.forEach((each, k) => $(each ? "out" : "in").append($("part" + k)));
    });
    $("rejected").hidden = !aside.includes(true);
    $("many").textContent = aside.filter(Boolean).length + " rejected here";
    $("cursor").setAttribute("transform", "translate(" + (page.left + ((now - page.low) / last) * page.across) + " 0)");
    slid.setAttribute("aria-valuetext", degrees(now) + " degrees " + (fahrenheit ? "Fahrenheit" : "Celsius"));
    $("when").textContent = "At " + degrees(now) + " " + unit() + (car.open ? ", " + minutes.value + " minutes from the car" : "") + ": " + (found[best] > 2 ? "nothing suits; nearest is" : "best is");
    $("best").textContent = best + 1 + " " + page.parts[best].name + " (" + page.verdicts[found[best]][1] + ", " + share(most).replace(" ", "\u00a0") + ")";
    $("ends").textContent = (page.parts[best].s ? "Squeeze " + page.parts[best].s + ". " : "") + (now === page.low || now === high ? "This page knows " + degrees(page.low) + " to " + degrees(high) + " " + unit() + "." : "");
  };
  const set = (t, by) => {
    now = Math.min(Math.max(t, page.low), high);
    if (by !== slid) slid.value = now;
    root.classList.remove("silent");
    if (by !== typed) { typed.value = shown(now); typed.setAttribute("aria-invalid", "false"); }
    show();
  };
  // A temperature as typed, with or without its unit; undefined, and the reason told, where it is none that the page knows.
  const read = (field) => {
    const found = /^([+-]?\d+(?:[.,]\d+)?)\s*°?\s*([cf]?)$/i.exec(field.value.trim().replace("\u2212", "-"));
    const inF = found && found[2] ? /f/i.test(found[2]) : fahrenheit, value = found ? Number(found[1].replace(",", ".")) : NaN;
    const t = inF ? (value - 32) / 1.8 : value, fine = t > page.low - 0.06 && t < high + 0.06;
    field.setAttribute("aria-invalid", String(!fine));
    root.classList.toggle("silent", !fine);
    if (fine) return t;
    $("when").textContent = found ? "No answer for " + field.value.trim() + ":" : "No answer:";
    $("best").textContent = found ? "beyond this page" : "type a temperature";
    $("ends").textContent = "This page knows " + degrees(page.low) + " to " + degrees(high) + " " + unit() + (found ? "; 70F or 21C names the unit." : ", such as " + degrees(Math.round(page.low / 2)) + ".");
    return undefined;
  };
  slid.addEventListener("input", () => set(Number(slid.value), slid));
  typed.addEventListener("input", () => { const t = read(typed); if (t !== undefined) set(t, typed); });
  typed.addEventListener("change", () => set(now));
  typed.addEventListener("keydown", (event) => {
    const step = { ArrowUp: 1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[event.key];
    if (step) { event.preventDefault(); set(now + (fahrenheit ? step / 1.8 : step)); }
  });
  warm.addEventListener("input", () => { const t = read(warm); if (t !== undefined) { from = t; show(); } });
  minutes.addEventListener("input", show);
  car.addEventListener("toggle", show);
  document.querySelectorAll("button[data-step]").forEach((button) =>
    button.addEventListener("click", () => set(now + Number(button.dataset.step) / (fahrenheit ? 1.8 : 1))));
  document.querySelectorAll("button[data-light]").forEach((button) => button.addEventListener("click", () => {
    const wanted = root.dataset.light === button.dataset.light ? "" : button.dataset.light;
    if (wanted) root.dataset.light = wanted; else delete root.dataset.light;
    document.querySelectorAll("button[data-light]").forEach((b) => b.setAttribute("aria-pressed", String(b.dataset.light === wanted)));
  }));
  // Every temperature that the page was written with, in degrees Celsius: its text, and the picture's scale.
  const texts = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) if (walk.currentNode.parentNode.localName !== "script" && walk.currentNode.data.includes("°C")) texts.push([walk.currentNode, walk.currentNode.data]);
  const ticks = [...document.querySelectorAll(".deg")].map((node) => [node, Number(node.textContent.replace("\u2212", "-"))]);
  $("unit").addEventListener("click", () => {
    fahrenheit = !fahrenheit;
    $("unit").setAttribute("aria-pressed", String(fahrenheit));
    const turned = (number) => degrees(Number(number.replace("\u2212", "-")));
    for (const [node, text] of texts) node.data = fahrenheit ? text.replace(/[\u2212-]?\d+(?:\.\d+)?(?=(?:(?: to | and above | and |, )[\u2212-]?\d+(?:\.\d+)?)* °C)/g, turned).replaceAll("°C", "°F") : text;
    for (const [node, t] of ticks) node.textContent = String(fahrenheit ? Math.round(shown(t)) : t).replace("-", "\u2212");
    warm.value = shown(from);
    set(now);
  });
  // Paper has it all.
  const why = $("why");
  addEventListener("beforeprint", () => { why.open = true; });
  addEventListener("afterprint", () => { why.open = false; });
  why.open = false;
  root.classList.remove("plain");
  set(now);
})();
