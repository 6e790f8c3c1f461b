// Starts the app, and sees to it that it starts without a network the next time.

import init from "./app.js";

const HOUR = 60 * 60 * 1000;

// The browser may offer to install the app before the app is there to hear it: the offer is kept until it suits.
addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault();
  window.trugInstallPrompt = event;
});

// The page is there before the app that knows which language was chosen; the phone's own is the best guess.
if (/^es\b/i.test(navigator.language)) {
  document.documentElement.lang = "es";
  for (const element of document.querySelectorAll("[data-es]")) element.textContent = element.dataset.es;
}

// The first worker of all takes over a page that had none; that is no update. It is watched from here, before any worker
// is asked for: whoever looks later may find a worker in charge whose coming has not been told yet.
if ("serviceWorker" in navigator) {
  let led = navigator.serviceWorker.controller !== null;
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (led) dispatchEvent(new Event("trug-taken-over"));
    led = true;
  });
}

try {
  await init({ module_or_path: new URL("./app.wasm", import.meta.url) });
} catch (error) {
  console.error(error);
  document.getElementById("opening")?.setAttribute("hidden", "");
  document.getElementById("trouble")?.removeAttribute("hidden");
}

// Only now, so that nothing competes with the first paint; and also when the app did not start, since a newer
// version may mend that. A phone grants this on https and on the machine itself alone, and may refuse it anyway.
if ("serviceWorker" in navigator) {
  navigator.serviceWorker.register("./sw.js", { updateViaCache: "none" }).then(lookNowAndThen, console.warn);
}

// An app on the home screen stays open for days: it looks for a new version when it comes back into view.
function lookNowAndThen(registration) {
  let last = Date.now();
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState !== "visible" || !navigator.onLine || Date.now() - last < HOUR) return;
    last = Date.now();
    registration.update().catch(() => {});
  });
}
