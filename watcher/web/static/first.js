"use strict";
// The first visit: the place of the farm by this phone's position.
(() => {
  const here = document.getElementById("here"), says = document.getElementById("here-says");
  for (const part of document.querySelectorAll(".needs-script")) part.hidden = false;
  if (!here) return;
  here.addEventListener("click", () => {
    if (!navigator.geolocation) { says.textContent = says.dataset.no; return; }
    navigator.geolocation.getCurrentPosition(({ coords }) => {
      document.getElementById("f-place").value = `${coords.latitude.toFixed(6)}, ${coords.longitude.toFixed(6)}`;
      says.textContent = `${says.dataset.within} ${Math.round(coords.accuracy)}`;
    }, () => { says.textContent = says.dataset.no; }, { enableHighAccuracy: true, timeout: 20000 });
  });
})();
