"use strict";
(() => {
  const card = document.getElementById("card");
  const days = [...card.querySelectorAll("fieldset")];
  const said = document.getElementById("said");
  const text = document.getElementById("text");
  const share = document.getElementById("share");
  const key = "precedent-card-" + card.dataset.plan + "-" + card.dataset.mark;
  const limits = { sessions: 6, repetitions: 9999, effort: 10, pain: 10 };
  const field = (day, name) => day.querySelector("[name=" + name + "]");
  const value = (day, name) => field(day, name).value.replace(/\s+/g, " ").trim();

  // Some browsers keep nothing for a page that was opened from a file.
  const keep = () => {
    const held = {};
    for (const day of days) {
      for (const input of day.querySelectorAll("input,select")) {
        if (input.value) (held[day.dataset.day] ??= {})[input.name] = input.value;
      }
    }
    try { localStorage.setItem(key, JSON.stringify(held)); } catch { /* nothing is kept */ }
  };
  const recall = () => {
    let held = {};
    try { held = JSON.parse(localStorage.getItem(key)) || {}; } catch { /* nothing was kept */ }
    for (const day of days) {
      for (const [name, was] of Object.entries(held[day.dataset.day] || {})) {
        const input = field(day, name);
        if (input) input.value = was;
      }
    }
  };

  const line = (day) => {
    const parts = [];
    for (const name of ["sessions", "repetitions", "effort", "pain"]) {
      const input = field(day, name);
      const number = value(day, name);
      const good = number === "" || (/^\d+$/.test(number) && Number(number) <= limits[name]);
      input.classList.toggle("wrong", !good);
      if (!good) throw [input, day, name];
      if (number !== "") parts.push(name + " " + Number(number));
    }
    const where = value(day, "where");
    const pain = Number(value(day, "pain"));
    const place = field(day, "where");
    place.classList.toggle("wrong", Boolean(where) !== pain > 0);
    if (where && !(pain > 0)) throw [field(day, "pain"), day, "pain"];
    if (pain > 0 && !where) throw [place, day, "where"];
    if (where) parts[parts.length - 1] += " " + where;
    const words = value(day, "words");
    if (words) parts.push("words " + words);
    return parts.length ? day.dataset.day + ": " + parts.join(", ") : null;
  };

  const make = () => {
    let lines;
    try {
      lines = days.map(line).filter(Boolean);
    } catch (wrong) {
      if (!Array.isArray(wrong)) throw wrong;
      const [input, day, name] = wrong;
      day.classList.remove("ahead");
      const rule = name === "where" ? "say where it hurts"
        : name === "pain" ? "pain is 0 to 10, and 1 or more if a place is named"
        : name + " is a number from 0 to " + limits[name];
      said.textContent = day.querySelector("legend").textContent + ": " + rule + ".";
      input.focus();
      return;
    }
    if (lines.length === 0) {
      said.textContent = "Nothing is filled in yet.";
      return;
    }
    const head = card.dataset.head + " " + card.dataset.plan + " (" + card.dataset.mark + ")";
    text.value = [head, ...lines, card.dataset.end].join("\n") + "\n";
    text.hidden = false;
    text.select();
    said.textContent = "Send all of this text to your coach.";
    navigator.clipboard?.writeText(text.value).then(
      () => { said.textContent = "The text is copied: send all of it to your coach."; },
      () => {},
    );
    share.hidden = !navigator.share;
  };

  recall();
  const now = new Date();
  const pad = (number) => String(number).padStart(2, "0");
  const today = now.getFullYear() + "-" + pad(now.getMonth() + 1) + "-" + pad(now.getDate());
  const filled = (day) => [...day.querySelectorAll("input,select")].some((input) => input.value);
  days.forEach((day, at) => {
    if (at > 0 && day.dataset.day > today && !filled(day)) day.classList.add("ahead");
  });
  card.classList.add("filled");
  card.addEventListener("input", keep);
  card.addEventListener("submit", (event) => event.preventDefault());
  document.getElementById("later").addEventListener("click", () => card.classList.remove("filled"));
  document.getElementById("make").addEventListener("click", make);
  share.addEventListener("click", () => navigator.share({ text: text.value }).catch(() => {}));
})();
