// The page server's protocol for a frame inside its page (Streamlit, components of version 1).

const send = (type, more = {}) => window.parent.postMessage(
  {isStreamlitMessage: true, type: `streamlit:${type}`, ...more}, window.location.origin);

/** Calls `draw(args, theme)` whenever the page is drawn, and keeps the frame as high as it is. */
export function listen(draw) {
  window.addEventListener('message', (event) => {
    if (event.source === window.parent && event.data?.type === 'streamlit:render') {
      draw(event.data.args ?? {}, event.data.theme);
    }
  });
  new ResizeObserver(() => send('setFrameHeight', {
    height: Math.ceil(document.body.getBoundingClientRect().height) + 4})).observe(document.body);
  send('componentReady', {apiVersion: 1});
}

/** Hands bytes to the page. */
export const hand = (bytes) => send('setComponentValue', {value: bytes, dataType: 'bytes'});

/**
 * One run of bytes: how long the head is (4 bytes, big end first), the head as JSON, and the
 * photos one behind the other in the order of `head.photos`.
 */
export async function packed(head, blobs) {
  const words = new TextEncoder().encode(JSON.stringify(head));
  const parts = await Promise.all(blobs.map((blob) => blob.arrayBuffer()));
  const all = new Uint8Array(4 + words.length + parts.reduce((sum, p) => sum + p.byteLength, 0));
  new DataView(all.buffer).setUint32(0, words.length);
  all.set(words, 4);
  let at = 4 + words.length;
  for (const part of parts) { all.set(new Uint8Array(part), at); at += part.byteLength; }
  return all;
}
