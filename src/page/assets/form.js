// Forms work without this. It shows what others book while a form is open, and reads codes by the camera where the browser can.
const main = document.querySelector("main");
const live = document.getElementById("live");
const here = main?.dataset.here;
let source = null;

async function look() {
  if (!document.getElementById("now")) return;
  const answer = await fetch(here);
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("now");
  const old = document.getElementById("now");
  // Fields that are being filled in are left alone: the program refuses a form that is out of date, and says why.
  if (fresh && old.innerHTML !== fresh.innerHTML) {
    old.replaceWith(document.adoptNode(fresh));
    live.textContent = "Something was booked about it: see its last entries.";
  }
}

function listen() {
  source = new EventSource("/events");
  source.addEventListener("news", () => look().catch(() => {}));
  source.addEventListener("open", () => look().catch(() => {}));
}
if (here?.startsWith("/b") && here !== "/bench") {
  listen();
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) { source?.close(); source = null; } else if (!source) listen();
  });
}

// ---- camera ----

const field = document.getElementById("code");
if (field && "BarcodeDetector" in window && navigator.mediaDevices) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = "Read it with the camera";
  field.form.querySelector(".buttons").append(button);
  button.addEventListener("click", () => scan(button).catch(error => { live.textContent = `No code was read: ${error.message}`; }));
}

async function scan(button) {
  const detector = new BarcodeDetector({ formats: ["qr_code"] });
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  const video = document.createElement("video");
  video.className = "camera";
  video.setAttribute("aria-label", "Picture of the camera");
  video.muted = true;
  video.playsInline = true;
  video.srcObject = stream;
  button.replaceWith(video);
  await video.play();
  const read = async () => {
    const [code] = await detector.detect(video);
    if (!code) { requestAnimationFrame(() => read().catch(() => {})); return; }
    stream.getTracks().forEach(track => track.stop());
    field.value = code.rawValue;
    field.form.requestSubmit();
  };
  await read();
}
