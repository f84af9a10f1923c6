// The map in the desk: an outline that was drawn goes into the form beside it.
(() => {
  const form = document.getElementById("drawn");
  form.addEventListener("submit", () => {
    document.getElementById("drawn-ground").value = document.getElementById("pencil-text").value;
  });
})();
