// @ts-check
// Reads the code of a label with the camera, where the browser can.

const view = /** @type {any} */ (globalThis);

/** Why this browser cannot; "" when it can. */
export function cannotScan() {
  if (!isSecureContext) return "The camera is only for pages that came over a secure connection, and this one did not.";
  if (!("BarcodeDetector" in view)) return "This browser cannot read a label's code by itself.";
  if (!navigator.mediaDevices?.getUserMedia) return "This browser offers no camera.";
  return "";
}

/**
 * Looks through the camera until there is a code in view, or it is called off. What it
 * says is the code, or "" when it was called off.
 * @param {HTMLVideoElement} video
 * @param {AbortSignal} off
 * @returns {Promise<string>}
 */
export async function scan(video, off) {
  const detector = new view.BarcodeDetector({ formats: ["qr_code"] });
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  try {
    video.srcObject = stream;
    void video.play().catch(() => { /* called off before it began */ });
    while (!off.aborted) {
      const [code] = video.readyState >= HTMLMediaElement.HAVE_CURRENT_DATA ? await detector.detect(video) : [];
      if (code?.rawValue) return String(code.rawValue).trim();
      await new Promise((next) => setTimeout(next, 120));
    }
    return "";
  } finally {
    for (const track of stream.getTracks()) track.stop();
    video.srcObject = null;
  }
}
