// Holds a line to the desk open while a page is, keeps what was typed, takes files that are dropped, follows long work.
(() => {
  // --- the desk ends when no page is left: one page of this browser says so for all of them ---
  async function hold() {
    for (;;) {
      try {
        const answer = await fetch("/alive");
        const reader = answer.body.getReader();
        while (!(await reader.read()).done);
      } catch {
        // the desk is gone, or busy: asked again below
      }
      await new Promise((go) => setTimeout(go, 3000));
    }
  }
  if (navigator.locks) navigator.locks.request("habmap-desk", hold);
  else hold();

  // --- what was typed survives a reload, until it was sent ---
  // by name, and which of that name: what else a form holds may change in between
  const wordsOf = (form) => {
    const seen = {};
    return [...form.elements]
      .filter((one) => one.name && !one.hidden && !["hidden", "file", "submit", "button", "password"].includes(one.type))
      .map((one) => {
        seen[one.name] = (seen[one.name] ?? 0) + 1;
        return [`${seen[one.name]}:${one.name}`, one];
      });
  };
  const isTicked = (one) => one.type === "checkbox" || one.type === "radio";
  const asked = new URLSearchParams(location.search);
  for (const form of document.querySelectorAll("form[data-draft]")) {
    const key = `${location.pathname}#${form.dataset.draft}`;
    const kept = sessionStorage.getItem(key);
    const isTyped = ([, one]) => (isTicked(one) ? one.checked !== one.defaultChecked : one.value !== one.defaultValue);
    const begun = wordsOf(form).filter((one) => one[1].tagName !== "SELECT" && isTyped(one)); // before this ran
    if (kept && !document.querySelector(".told")) {
      const values = JSON.parse(kept);
      for (const [name, one] of wordsOf(form)) {
        const was = values[name];
        if (was === undefined || asked.has(one.name) || begun.some((typed) => typed[0] === name)) continue; // newer
        if (isTicked(one)) one.checked = was;
        else one.value = was;
      }
    }
    const keep = () => {
      const values = wordsOf(form).map(([name, one]) => [name, isTicked(one) ? one.checked : one.value]);
      sessionStorage.setItem(key, JSON.stringify(Object.fromEntries(values)));
    };
    if (begun.length) keep();
    form.addEventListener("input", keep);
    form.addEventListener("submit", () => sessionStorage.removeItem(key));
  }

  // --- a file may be dropped on the field it is for ---
  for (const field of document.querySelectorAll("input[type=file]")) {
    for (const name of ["dragover", "dragenter"]) field.addEventListener(name, () => field.classList.add("over"));
    for (const name of ["dragleave", "drop"]) field.addEventListener(name, () => field.classList.remove("over"));
  }

  // --- a page that is still being worked out comes by itself, unless its reader went on to another ---
  let isLeaving = false;
  addEventListener("beforeunload", () => {
    isLeaving = true;
  });
  const comeAgain = () => isLeaving || location.reload();
  if (document.querySelector("[data-waiting]")) setTimeout(comeAgain, 700);

  // --- long work: how far it is ---
  const work = document.querySelector("[data-work]");
  async function look() {
    const answer = await fetch(work.dataset.work);
    const now = await answer.json();
    if (now.is_over) return comeAgain();
    const said = work.querySelector("[role=status]"); // read aloud when it changes; the time that runs is not
    if (said.textContent !== now.words) said.textContent = now.words;
    work.querySelector("[data-time]").textContent = now.time_words;
    if (now.done_frac !== null) work.querySelector("progress").value = now.done_frac;
    return setTimeout(look, 500);
  }
  if (work) look();
})();
